# Every target sets up what it needs in .venv: nothing has to be installed by hand but Python 3.11+ and make.
PYTHON ?= $(shell for p in python3 python3.14 python3.13 python3.12 python3.11; do \
	$$p -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && { echo $$p; break; }; done)
BIN = .venv/bin
DEMO = .venv/.demo
SETUP = .venv/.made
# Byte code is left to the first import, which compiles only what is used: half the time and a quarter of the disk.
PIP = $(BIN)/python -m pip install --disable-pip-version-check --no-compile
DRAW = .venv-drawings/bin
MODEL = .venv-drawings/.made

.PHONY: browser records redraw drawings model demo test quick bench soak mutants docs lint lock check clean

# Installs what the demonstration needs and no more: 350 MB; every other target 1 GB.
demo: $(DEMO)
	$(BIN)/midspan demo

test: $(SETUP) browser
	$(BIN)/python -m pytest -n auto --dist loadfile --no-loadscope-reorder

# For the hand at work: what starts no process and takes no seconds.
quick: $(SETUP)
	$(BIN)/python -m pytest -n auto --dist loadfile -m "not process and not slow"

bench: $(SETUP)
	OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=1 $(BIN)/python tests/bench

# The page is tested in a real browser. Where none can be installed those tests are skipped and say so.
browser:
	@command -v chromium chromium-browser google-chrome >/dev/null 2>&1 || { \
		echo "midspan: no chromium found; installing Debian's for the tests of the page"; \
		apt-get update -q && apt-get install -y -q chromium; } || \
		echo "midspan: chromium could not be installed; the tests of the page are skipped"

# Writes both ends' records anew from their definitions in protocol/; say it after a change of a field, record or fault.
records: $(SETUP)
	PYTHONPATH=tests/rigs $(BIN)/python tests/wire/make_records.py

# Writes anew what is made from code: vectors, tables of the specification, drawings and outputs in the hardware notes.
redraw: $(SETUP)
	for script in tests/wire/make_vectors.py tests/wire/test_spec.py tests/hardware_notes/test_*.py; do \
		PYTHONPATH=tests/rigs:hardware_notes:hardware_notes/drawings $(BIN)/python $$script || exit 1; done

# The gauge to build, from its solid model: parts list, meshes, sheets to cut, drawings and pictures in hardware_notes,
# all else in build/drawings. Then the checks of the model: overlaps over every motion, screws, forces.
drawings: $(MODEL) $(SETUP)
	cd hardware_notes && ../$(DRAW)/python -m model.output
	$(MAKE) redraw model

model: $(MODEL)
	$(DRAW)/python -m pytest -c tests/model/pytest.ini tests/model hardware_notes/model

# The model's checks, garbage at every door, the fault campaign at large, a hard night and a week of nights: hours. SOAK="--harms 300 --week 0" for less.
soak: $(SETUP) model
	$(BIN)/python tests/garbage
	$(BIN)/python tests/campaign $(SOAK)

# build/reference/midspan.html: what a program of one's own may use, from the docstrings.
docs: $(SETUP)
	$(BIN)/pdoc --docformat numpy --no-show-source --output-directory build/reference midspan

# Small faults put into the core, one at a time: do the tests of its own folder notice? A quarter of an hour.
# SEED=2 draws another sample, COUNT=50 a smaller one, FOLDER=wire keeps to one folder.
SEED ?= 1
COUNT ?= 200
mutants: $(SETUP)
	$(BIN)/python tests/mutants $(FOLDER) --seed $(SEED) --count $(COUNT)

lint: $(SETUP) typings/.made
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/python tests/reference
	$(BIN)/mypy --config-file device/mypy.ini device/*.py device/parts/*.py
	$(BIN)/mypy --config-file device/mypy.ini device/rehearsal

check: lint test

# The demonstration has the versions of the full lock, so that each set-up begins with what the other has left.
$(DEMO): requirements-demo.lock pyproject.toml
	$(call environment)
	@echo "midspan: installing what the demonstration needs into .venv"
	$(PIP) -r requirements-demo.lock
	$(PIP) --no-deps --no-build-isolation -e .
	@touch $@

$(SETUP): requirements.lock requirements-demo.lock pyproject.toml
	$(call environment)
	@echo "midspan: installing everything that tests and figures need into .venv"
	$(PIP) -r requirements.lock
	$(PIP) --no-deps --no-build-isolation -e .
	@touch $(DEMO) $@

define environment
@test -n "$(PYTHON)" || { echo "midspan: no Python 3.11 or newer found; install one, or name it: make PYTHON=..."; exit 1; }
@$(BIN)/python -m pip --version >/dev/null 2>&1 || $(PYTHON) -m venv .venv >/dev/null 2>&1 || { \
	echo "midspan: $(PYTHON) cannot make a virtual environment; installing its venv package"; \
	apt-get update -q && apt-get install -y -q python3-venv && $(PYTHON) -m venv .venv; }
endef

# A gigabyte of its own, for nobody but who changes the gauge's shape. Its geometry kernel is linked against OpenGL,
# and pictures are rendered without a display by EGL: where either is missing, these two libraries are Debian's.
$(MODEL): requirements-drawings.lock
	@$(PYTHON) -m venv .venv-drawings >/dev/null 2>&1 || { \
		apt-get update -q && apt-get install -y -q python3-venv && $(PYTHON) -m venv .venv-drawings; }
	$(DRAW)/python -m pip install -q --disable-pip-version-check -r requirements-drawings.lock
	@$(DRAW)/python -c 'import ctypes; [ctypes.CDLL(name) for name in ("libGL.so.1", "libEGL.so.1")]' 2>/dev/null || \
		test "$$(uname)" != Linux || { apt-get update -q && apt-get install -y -q libgl1 libegl1; }
	@touch $@

# The board's stubs shadow parts of the standard library, so they live apart from the host's packages.
typings/.made: $(SETUP)
	$(BIN)/python -m pip install -q --disable-pip-version-check --target typings --upgrade micropython-rp2-rpi-pico-stubs==1.29.0.post1
	@touch $@

# Versions stay as they are; LOCK=--upgrade renews them all, LOCK="--upgrade-package NAME" one.
lock: $(SETUP)
	$(BIN)/python -m pip install -q --disable-pip-version-check uv==0.13.9
	printf 'hatchling\neditables\n' | $(BIN)/uv pip compile pyproject.toml - --all-extras --universal \
		--python-version 3.11 --generate-hashes --no-annotate --custom-compile-command "make lock" $(LOCK) \
		--quiet --output-file requirements.lock
	printf 'hatchling\neditables\n' | $(BIN)/uv pip compile pyproject.toml - --extra demo --constraint requirements.lock \
		--universal --python-version 3.11 --generate-hashes --no-annotate --custom-compile-command "make lock" $(LOCK) \
		--quiet --output-file requirements-demo.lock
	$(BIN)/uv pip compile --group drawings --constraint requirements.lock --universal \
		--python-version 3.11 --generate-hashes --no-annotate --custom-compile-command "make lock" $(LOCK) \
		--quiet --output-file requirements-drawings.lock

clean:
	rm -rf .venv .venv-drawings typings .pytest_cache .mypy_cache .ruff_cache .hypothesis demo-output build dist
