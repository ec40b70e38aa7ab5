"""Reference data: threads, what tightening rests on, liquids; every entry with its source."""

from __future__ import annotations

from dataclasses import dataclass

from cfgtrack.model.quantity import Quantity

ADVISES = "Advises: local codes, the approved procedure and qualified people decide."


@dataclass(frozen=True, slots=True)
class Reference:
    """One entry of a table: its id in the table, what it is, where it is from, and how that was come by."""

    id: str
    title: str
    source: str
    trust: str


@dataclass(frozen=True, slots=True)
class Thread(Reference):
    """A size of screw thread, metric or unified. `stress_area` is computed, by the formula of `stress_area_source`."""

    form: str
    diameter: Quantity
    pitch: Quantity
    threads_per_inch: int | None
    stress_area: Quantity
    stress_area_source: str


@dataclass(frozen=True, slots=True)
class Surface(Reference):
    """A surface of bolt and nut. `scatter` is the id of the Scatter that a torque wrench leaves on it."""

    nut_factor: Quantity
    scatter: str


@dataclass(frozen=True, slots=True)
class Scatter(Reference):
    """A way to tighten, and the part of the likely preload by which bolts then differ."""

    scatter: Quantity


@dataclass(frozen=True, slots=True)
class Proof:
    """A proof stress, for nominal diameters over one (None: any) and up to another, which counts in."""

    stress: Quantity
    over: Quantity | None
    up_to: Quantity


@dataclass(frozen=True, slots=True)
class PropertyClass(Reference):
    """A property class or grade of bolts of one form of thread.

    `by_strain`: it has no proof load, and its stress at 0.2 % permanent strain stands for the proof stress.
    """

    form: str
    proof: tuple[Proof, ...]
    by_strain: bool = False

    def proof_of(self, thread: Thread) -> Quantity | None:
        """Return the proof stress at a thread's diameter, None where the class doesn't go."""
        if thread.form != self.form:
            return None
        for one in self.proof:
            over = 0.0 if one.over is None else one.over.value
            if over < thread.diameter.value <= one.up_to.value:
                return one.stress
        return None


@dataclass(frozen=True, slots=True)
class Pass(Reference):
    """One round over the bolts of a joint: to which share of the torque, in which order, how long later."""

    share: Quantity | None
    order: str
    after: Quantity | None


@dataclass(frozen=True, slots=True)
class TighteningPattern(Reference):
    """The order in which the bolts of a joint are tightened, by their numbers clockwise."""

    order: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class TurnOfNut(Reference):
    """How far a nut is turned past snug, for bolts over and up to so many diameters long."""

    angle: Quantity
    over: int
    up_to: int


@dataclass(frozen=True, slots=True)
class Rise:
    """By how much the pressure of a full rigid volume has risen when it is warmed by so much."""

    warmed: Quantity
    rise: Quantity


@dataclass(frozen=True, slots=True)
class FluidState:
    """A liquid at a temperature. `pressure`, `compressibility` and `rises` are missing where nobody knows them."""

    temperature: Quantity
    pressure: Quantity | None
    density: Quantity
    expansivity: Quantity
    compressibility: Quantity | None
    rises: tuple[Rise, ...]

    @property
    def points(self) -> list[tuple[float, float]]:
        """The rises in SI, as `physics.trapped` takes them."""
        return [(one.warmed.value, one.rise.value) for one in self.rises]


@dataclass(frozen=True, slots=True)
class Fluid(Reference):
    """A liquid: when it freezes, and its states by rising temperature."""

    freezes: Quantity
    state: tuple[FluidState, ...]
