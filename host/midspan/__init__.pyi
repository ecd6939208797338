# What a program of one's own needs. __init__.py offers these names and imports each when it is first used, because a
# command that is to answer at once cannot wait for numpy.

from .archive.raw_run import RawRun as RawRun
from .archive.reader import Archive as Archive
from .archive.reader import read_archive as read_archive
from .archive.writer import ArchiveWriter as ArchiveWriter
from .base.errors import ArchiveError as ArchiveError
from .base.errors import ConfigurationError as ConfigurationError
from .base.errors import ConversionError as ConversionError
from .base.errors import DeviceFault as DeviceFault
from .base.errors import LinkError as LinkError
from .base.errors import MidspanError as MidspanError
from .base.errors import ProtocolError as ProtocolError
from .base.errors import StoreError as StoreError
from .decision.bands import Bands as Bands
from .decision.bands import load_bands as load_bands
from .decision.decision import Decision as Decision
from .decision.decision import Outcome as Outcome
from .decision.decision import verdict_on as verdict_on
from .hand_bench.result import HandResult as HandResult
from .link.gauge import Gauge as Gauge
from .link.open_line import open_line as open_line
from .measurement.calibration import Calibration as Calibration
from .measurement.calibration import load_calibration as load_calibration
from .measurement.cycle_plan import plan_for as plan_for
from .measurement.result import ShaftResult as ShaftResult
from .measurement.result import Unmeasured as Unmeasured
from .measurement.result import evaluate as evaluate
from .pipeline.bench import Bench as Bench
from .pipeline.bench import Verdict as Verdict
from .pipeline.bench import measure_batch as measure_batch
from .rehearsal.process import Rehearsal as Rehearsal
from .store.database import Store as Store
from .store.place import StorePlace as StorePlace
from .uncertainty.budget import Budget as Budget
from .uncertainty.budget import Coverage as Coverage
