"""The gauge's load path as a three-dimensional frame, solved by PyNiteFEA: a second calculation of how much it gives.

It knows the dimensions of `frame.toml` and the springs of bearings, joints and cell; levers, moments and the bending of
every member are the solver's.
"""

from itertools import pairwise
from math import cos, pi, radians, sin

from frame import compliance as c
from Pynite import FEModel3D

STIFF = "stiff"  # material of links that may not give: a thousand times steel
Point = tuple[float, float, float]


class FrameModel:
    """Nodes and members of the gauge; `give()` loads the head by a newton and returns how far it moves, mm."""

    def __init__(self, frame):
        self.frame, self.model, self._links = frame, FEModel3D(), 0
        for name, young, shear in (
            ("aluminium", c.ALUMINIUM, c.ALUMINIUM_SHEAR),
            ("steel", c.STEEL, c.STEEL_SHEAR),
            (STIFF, 2e8, 8e7),
        ):
            self.model.add_material(name, young, shear, 0.3, 0.0)
        self.model.add_section("thick", 1e2, 1e4, 1e4, 1e4)
        self._base()
        for side in (-1, 1):
            self._stand(side)
        self._column()
        self._carriage()
        self._cell()

    # Pieces of a model

    def node(self, name, at):
        self.model.add_node(name, *map(float, at))

    def member(self, start, end, section, material="aluminium"):
        """Add a member; `section` is its area, second moments about its local y and z, and its torsion."""
        name = f"{start}-{end}"
        self.model.add_section(name, *map(float, section))
        self.model.add_member(name, start, end, material, name)
        return name

    def link(self, start, end):
        """Join two nodes by a member that does not give."""
        self.model.add_member(f"{start}-{end}", start, end, STIFF, "thick")

    def spring(self, start, end, along, turning=1e10):
        """Join two neighbouring nodes by a stiffness along the line between them, N/mm, and one of bending, N mm."""
        length = self._length(start, end)
        name = f"{start}-{end}"
        self.model.add_section(name, along * length / 2e8, turning * length / 2e8, turning * length / 2e8, 1e2)
        self.model.add_member(name, start, end, STIFF, name)
        return name

    def _length(self, start, end):
        begin, finish = self.model.nodes[start], self.model.nodes[end]
        return ((begin.X - finish.X) ** 2 + (begin.Y - finish.Y) ** 2 + (begin.Z - finish.Z) ** 2) ** 0.5

    # The gauge

    def _base(self):
        frame, beam = self.frame, self.frame.beam
        half, middle = frame.support.span / 2, -beam.height / 2
        inner, outer = (sum(u) / 2 for u in (frame.support.cheek_inner, frame.support.cheek_outer))
        cross = frame.base.cross_x
        places = {"beam 0": 0.0, "cross": cross, "inner": half + inner, "outer": half + outer}
        line = [(f"{name} {side}", side * x) for name, x in places.items() if x for side in (-1, 1)] + [("beam 0", 0.0)]
        line.sort(key=lambda place: place[1])
        for name, x in line:
            self.node(name, (x, 0, middle))
        for (start, _), (end, _) in pairwise(line):
            # An upright profile: local z bends it sideways here, so the larger second moment is about local y.
            self.member(start, end, (1000, beam.second_moment_mm4, beam.second_moment_mm4, 2e5))
        under = -beam.height - frame.base.cross_section / 2
        for side in (-1, 1):
            self.node(f"under {side}", (side * cross, 0, under))
            self.link(f"cross {side}", f"under {side}")
            for way in (-1, 1):
                foot = f"foot {side} {way}"
                self.node(foot, (side * cross, way * frame.base.foot_y, under))
                self.member(f"under {side}", foot, (700, 9e4, 9e4, 2e4))
                self.model.def_support_spring(foot, "DZ", 200.0)  # rubber, from memory; the force closes above it
                self.model.def_support_spring(foot, "DX", 200.0)
                self.model.def_support_spring(foot, "DY", 200.0)

    def _stand(self, side):
        frame, support = self.frame, self.frame.support
        nip = radians(frame.nip_deg(frame.shaft.usual))
        shaft = f"shaft {side}"
        self.node(shaft, (side * support.span / 2, 0, frame.shaft_z(frame.shaft.usual)))
        self.model.def_support(shaft, True, False, False, True, True, True)  # only its height and its y are asked for
        for cheek, u in (("inner", sum(support.cheek_inner) / 2), ("outer", sum(support.cheek_outer) / 2)):
            x = side * (support.span / 2 + u)
            low, high = f"low {cheek} {side}", f"high {cheek} {side}"
            self.node(low, (x, 0, support.foot_thickness))
            self.node(high, (x, 0, support.axle_height))
            self.link(f"{cheek} {side}", low)
            depth, thick = 2 * support.cheek_half_depth, support.cheek
            self.member(low, high, (depth * thick, thick * depth**3 / 12, depth * thick**3 / 12, 1e4))
        for way in (-1, 1):
            into = (0.0, -way * sin(nip), cos(nip))  # from the axle to the shaft
            middle = f"axle {side} {way}"
            self.node(middle, self._axle(side, way, 0.0, into))
            self.model.def_support(middle, False, False, False, True, False, False)  # a roller turns freely
            for cheek in ("inner", "outer"):
                self._axle_end(side, way, cheek, into)
            rim = f"{middle}-{shaft}"
            self.link(middle, shaft)
            self.model.def_releases(rim, Ryi=True, Rzi=True, Ryj=True, Rzj=True)

    def _axle_end(self, side, way, cheek, into):
        """Carry the end of an axle by a ball bearing in its cheek; `into` points from the axle to the shaft."""
        frame, support = self.frame, self.frame.support
        bore, pin = f"bore {cheek} {side} {way}", f"pin {cheek} {side} {way}"
        at = self._axle(side, way, sum(getattr(support, f"cheek_{cheek}")) / 2, into)
        self.node(bore, [a - b for a, b in zip(at, into, strict=True)])
        self.node(pin, at)
        self.link(f"high {cheek} {side}", bore)
        share = c.cheek_shares(frame)[cheek == "outer"] * frame.nip_share(frame.shaft.usual) / 2
        full, light = (c.ball_bearing(share * load * c.LOAD_N, support.axle_bearing[1]) for load in (1, c.LIGHT))
        name = self.spring(bore, pin, share * (1 - c.LIGHT) * c.LOAD_N / (full - light))
        self.model.def_releases(name, Ryj=True, Rzj=True)
        second = pi * support.axle**4 / 64
        self.member(f"axle {side} {way}", pin, (pi * support.axle**2 / 4, second, second, 2 * second), "steel")

    def _axle(self, side, way, u, into):
        support = self.frame.support
        return (side * (support.span / 2 + u), way * self.frame.half_rollers + into[1], support.axle_height + into[2])

    def _column(self):
        frame, press = self.frame, self.frame.press
        y, middle = press.column_y, -frame.beam.height / 2
        near = y + press.column / 2
        zc = c.loaded_z(frame)
        self.zs = {"lower": zc - press.block_spacing / 2, "upper": zc + press.block_spacing / 2}
        front = near + press.spacer
        self.node("beam face", (0, front, middle))
        self.node("spacer front", (0, front - 1, middle))
        self.node("spacer back", (0, near + 1, middle))
        self.node("joint column", (0, near, middle))
        self.link("beam 0", "beam face")
        self.spring("beam face", "spacer front", 1e8, c.joint_stiffness(press.spacer_beam_z, 2))
        self.link("spacer front", "spacer back")
        self.spring("spacer back", "joint column", 1e8, c.joint_stiffness(press.spacer_column_z, 1))
        heights = {"root": max(press.spacer_column_z), **self.zs, "top": press.column_top}
        for name, z in heights.items():
            self.node(f"column {name}", (0, y, z))
        self.link("joint column", "column root")
        second = press.column_second_moment_mm4
        section = (c.COLUMN_AREA_MM2, second, second, c.COLUMN_TORSION_MM4)
        for start, end in (("root", "lower"), ("lower", "upper"), ("upper", "top")):
            self.member(f"column {start}", f"column {end}", section)
        top = press.column_top + press.head_plate / 2
        face = press.column**4 / 12 / c.JOINT_MM3_N
        self.node("plate on column", (0, y, top))
        self.spring("column top", "plate on column", 1e8, face)
        self.node("plate root", (0, near, top))
        self.node("plate tip", (0, press.screw_y, top))
        self.node("plate bore", (press.screw_x, press.screw_y, top))
        self.link("plate on column", "plate root")
        width, thick = c.HEAD_PLATE_MM, press.head_plate
        bent, flat = width * thick**3 / 12, thick * width**3 / 12
        self.member("plate root", "plate tip", (width * thick, bent, flat, 4 * bent))
        self.link("plate tip", "plate bore")

    def _carriage(self):
        frame, press = self.frame, self.frame.press
        width, thick, _ = press.carriage
        rail_y = frame.column_front_y + press.rail_height
        self.plate_y, zc = frame.carriage_front_y - thick / 2, c.loaded_z(frame)
        self.node("plate middle", (0, self.plate_y, zc))
        for name, z in self.zs.items():
            plate = f"plate {name}"
            self.node(plate, (0, self.plate_y, z))
            self.member("plate middle", plate, (width * thick, *2 * [width * thick**3 / 12], 1e4))
            for half in (-6, 6):
                rail, block = f"rail {name} {half}", f"block {name} {half}"
                self.node(rail, (half, rail_y, z))
                self.node(block, (half, rail_y + 2, z))
                self.link(f"column {name}", rail)
                self.link(plate, block)
                self._across(rail, block, c.BLOCK_N_MM / 2)
            rail, block = f"rail {name} aside", f"block {name} aside"
            self.node(rail, (-14, rail_y, z))
            self.node(block, (-8, rail_y, z))
            self.link(f"column {name}", rail)
            self.link(plate, block)
            self._across(rail, block, c.BLOCK_N_MM)
        self._screw(zc)

    def _across(self, rail, block, stiffness):
        """Join rail and block by a spring that holds them in its own direction only."""
        self.model.add_spring(f"{rail}-{block}", rail, block, stiffness)

    def _screw(self, zc):
        press = self.frame.press
        x, y = press.screw_x, press.screw_y
        top = press.column_top + press.head_plate / 2
        for name, z in (("nut", zc), ("thread", zc + 2), ("journal", top - 2)):
            self.node(name, (x, y, z))
        self.link("plate middle", "nut")
        nut = self.spring("nut", "thread", c.NUT_N_MM)
        self.model.def_releases(nut, Ryj=True, Rzj=True)
        core = pi * c.SCREW_CORE_MM**2 / 4
        second = core**2 / (4 * pi)
        self.member("thread", "journal", (core, second, second, 2 * second), "steel")
        # Rotor, coupling and the screw's twist give along the screw: one spring with its bearings.
        length = top - zc
        lever = press.screw_lead / (2 * pi)
        turning = lever**2 * (length / (c.STEEL_SHEAR * 2 * second) + 1 / c.COUPLING_NMM_RAD)
        self.spring("journal", "plate bore", 1 / (c.thrust_bearings(self.frame) + c.rotor_lag(self.frame) + turning))

    def _cell(self):
        frame, cell = self.frame, self.frame.cell
        zc = c.loaded_z(frame)
        near, far = frame.press.carriage[0] / 2, cell.length - cell.free_end_x - sum(cell.hole_from_end) / 2
        depth, thick = cell.arm
        arm_y = frame.carriage_front_y + depth / 2
        second, aside = depth * thick**3 / 12, thick * depth**3 / 12
        back = frame.press.carriage[0] * thick**3 / 12 / c.JOINT_MM3_N
        self.node("arm back", (0, frame.carriage_front_y, zc))
        self.node("arm joint", (0, frame.carriage_front_y + 1, zc))
        self.node("arm root", (-near, arm_y, zc))
        self.node("arm tip", (-far, arm_y, zc))
        self.link("plate middle", "arm back")
        self.spring("arm back", "arm joint", 1e8, back)
        self.link("arm joint", "arm root")
        self.member("arm root", "arm tip", (depth * thick, second, aside, 0.2 * depth * thick**3))
        # The cell as what it is: two blocks, joined by two thin parallel bars that bend like an S.
        pad = sum(cell.hole_from_end) ** 3 * cell.width / 12 / c.JOINT_MM3_N / 2
        low, bars, apart = zc - thick / 2 - cell.arm_gap, 60.0, 11.0
        middle = low - cell.height / 2
        self.node("pad", (-far, 0, low + 1))
        self.node("cell top", (-far, 0, low))
        self.link("arm tip", "pad")
        self.spring("pad", "cell top", 1e8, pad)
        centre = -far / 2
        bar = 1 / (cell.give_mm_per_n * 24 / bars**3)  # E I of each: k = 24 E I / l^3
        for z in (middle - apart, middle + apart):
            start, end = f"fixed {z}", f"free {z}"
            self.node(start, (centre - bars / 2, 0, z))
            self.node(end, (centre + bars / 2, 0, z))
            self.link("cell top", start)
            self.member(start, end, (1e4, bar / c.ALUMINIUM, 1e3, 1e3))  # its sheet has the stretch in the give
        self.node("head", (0, 0, middle - 40))
        self.node("tip", (0, 0, middle - 41))
        for z in (middle - apart, middle + apart):
            self.link(f"free {z}", "head")
        self.spring("head", "tip", 1 / c.head_bearings(frame))

    def give(self):
        """Return how far the tip of the head moves away from both rims by a newton, mm."""
        self.model.add_node_load("tip", "FZ", 1.0)
        for side in (-1, 1):
            self.model.add_node_load(f"shaft {side}", "FZ", -0.5)
        self.model.analyze_linear()
        down = [self.model.nodes[f"shaft {side}"].DZ["Combo 1"] for side in (-1, 1)]
        return self.model.nodes["tip"].DZ["Combo 1"] - sum(down) / 2
