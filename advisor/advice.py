"""What ``speeds`` and ``rate`` are asked and what they answer: frozen values and their ``feedwright.speeds/1`` form.

Lengths mm, feeds mm/min, speeds rev/min, cutting speed m/min, angles degrees, forces N, torque N m, power W, removal
cm3/min. ``None`` is *unknown* or *does not apply* and becomes ``null``. Only the standard library is imported.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import field
from typing import TYPE_CHECKING, Any

from advisor.values import Cutter, Machine, Material
from grammar.classes import dataclass

if TYPE_CHECKING:
    from advisor.limits import CutLimits
    from advisor.operations import Engagement

SCHEMA = "feedwright.speeds/1"
OPERATIONS = ("slot", "side", "pocket", "face", "drill", "bore", "engrave")
TOLERANCE = 1e-6  # a limit is exceeded beyond limit + TOLERANCE of its unit
NEAR = 0.9  # use of a limit from which a setting is called near


class BadRequest(ValueError):  # noqa: N818 (reads as what it is)
    """A question that can't be asked: ``message`` says what is wrong, ``place`` where, ``remedy`` how to mend it."""

    def __init__(self, message: str, *, place: str, remedy: str) -> None:
        super().__init__(f"{place}: {message}; {remedy}")
        self.message = message
        self.place = place
        self.remedy = remedy


@dataclass(frozen=True, slots=True)
class Request:
    """One question. ``specific_force`` (N/mm2, constant) overrides the material's; ``tolerance`` is the wall error
    wanted (mm); ``finish`` asks for the finishing cut itself instead of a roughing cut."""

    cutter: Cutter
    material: Material | None
    machine: Machine | None
    operation: str = "slot"
    depth: float | None = None  # total depth, mm
    stepover: float | None = None
    bore_diameter: float | None = None
    helix_angle: float | None = None  # wanted angle of the helical entry at the cutter's centre
    tolerance: float | None = None
    finish: bool = False
    specific_force: float | None = None


@dataclass(frozen=True, slots=True)
class LimitUse:
    """One limit and how much of it is used. ``least`` limits are reached from above: ``use`` is limit / value."""

    name: str
    value: float
    limit: float
    unit: str
    use: float
    source: str
    least: bool = False
    note: str = ""

    @property
    def exceeded(self) -> bool:
        """True beyond limit + 1e-6 of its unit; a NaN counts as exceeded."""
        if self.least:
            return not self.value >= self.limit - TOLERANCE
        return not self.value <= self.limit + TOLERANCE

    def to_dict(self) -> dict[str, Any]:
        """The form it has in the JSON list ``limits``."""
        return {
            "name": self.name,
            "value": rounded(self.value),
            "limit": rounded(self.limit),
            "unit": self.unit,
            "use": rounded(self.use),
            "source": self.source,
            "kind": "least" if self.least else "most",
            "note": self.note,
        }


@dataclass(frozen=True, slots=True)
class Helix:
    """Helical entry or helical bore; ``feed`` is that of the cutter's centre, ``wall_feed`` that of the bore's wall."""

    bore_diameter: float
    path_diameter: float
    pitch: float
    angle: float
    wall_angle: float
    feed: float
    wall_feed: float

    def to_dict(self) -> dict[str, Any]:
        """The JSON object ``helix``."""
        return {
            "bore_diameter_mm": rounded(self.bore_diameter),
            "path_diameter_mm": rounded(self.path_diameter),
            "pitch_mm": rounded(self.pitch),
            "angle_deg": rounded(self.angle),
            "wall_angle_deg": rounded(self.wall_angle),
            "feed_mm_min": rounded(self.feed),
            "wall_feed_mm_min": rounded(self.wall_feed),
        }


@dataclass(frozen=True, slots=True)
class FirstCut:
    """A gentler cut to begin with: at most 60 % of the removal rate."""

    spindle_rpm: float
    feed: float
    stepdown: float
    removal_rate: float

    def to_dict(self) -> dict[str, Any]:
        """The JSON object ``first_cut``."""
        return {
            "spindle_rpm": rounded(self.spindle_rpm),
            "feed_mm_min": rounded(self.feed),
            "stepdown_mm": rounded(self.stepdown),
            "removal_rate_cm3_min": rounded(self.removal_rate),
        }


@dataclass(frozen=True, slots=True)
class FinishPass:
    """A light last pass along the wall: ``allowance`` is left for it by the roughing cut."""

    allowance: float
    stepdown: float
    spindle_rpm: float
    feed: float
    chip_load: float
    deflection: float
    source: str
    scallop_stepover: float | None = None  # ball cutters: stepover for a scallop of ``scallop_height``
    scallop_height: float | None = None

    def to_dict(self) -> dict[str, Any]:
        """The JSON object ``finish``."""
        return {
            "allowance_mm": rounded(self.allowance),
            "stepdown_mm": rounded(self.stepdown),
            "spindle_rpm": rounded(self.spindle_rpm),
            "feed_mm_min": rounded(self.feed),
            "chip_load_mm": rounded(self.chip_load),
            "deflection_mm": rounded(self.deflection),
            "scallop_stepover_mm": rounded(self.scallop_stepover),
            "scallop_height_mm": rounded(self.scallop_height),
        }


@dataclass(frozen=True, slots=True)
class Step:
    """One line of "how these numbers came about": name, formula with its numbers, result, source."""

    name: str
    formula: str
    result: float
    unit: str
    source: str

    def to_dict(self) -> dict[str, Any]:
        """The form it has in the JSON list ``steps``."""
        return {
            "name": self.name,
            "formula": self.formula,
            "result": rounded(self.result),
            "unit": self.unit,
            "source": self.source,
        }


@dataclass(frozen=True, slots=True)
class Physics:
    """What a given cut does, at one end of the data."""

    cutting_speed: float
    effective_diameter: float
    chip_load: float
    engagement: float  # degrees
    teeth_in_cut: float
    max_chip_thickness: float
    mean_chip_thickness: float
    removal_rate: float
    force: float | None  # mean tangential force of one tooth in cut
    peak_force: float | None
    torque: float | None
    power: float | None
    deflection: float | None
    stress: float | None = None
    thrust: float | None = None


@dataclass(frozen=True, slots=True)
class Advice:
    """A recommendation; every limit was judged at the pessimistic end of the data, so are force, torque and power."""

    request: Request
    spindle_rpm: float
    feed: float
    plunge_feed: float | None
    stepdown: float
    passes: tuple[float, ...]
    stepover: float
    helix: Helix | None
    ramp_angle: float | None
    first_cut: FirstCut
    physics: Physics
    feed_range: tuple[float, float]
    rpm_range: tuple[float, float]
    limits: tuple[LimitUse, ...]
    limited_by: tuple[str, ...]
    warnings: tuple[str, ...] = ()
    assumptions: tuple[str, ...] = ()
    safety: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    pecks: tuple[float, ...] = ()
    finish: FinishPass | None = None
    helps: tuple[str, ...] = ()
    spread: str = ""
    cut: CutLimits | None = None
    engagement: Engagement | None = None
    ramp_feed: float | None = None  # on a straight ramp of ``ramp_angle``

    def steps(self) -> tuple[Step, ...]:
        """How these numbers came about: every formula with its numbers and source."""
        from advisor.steps import steps_of

        return steps_of(self)

    def to_dict(self) -> dict[str, Any]:
        """The ``feedwright.speeds/1`` object; numbers rounded to 6 decimals, every key present."""
        p = self.physics
        return {
            "schema": SCHEMA,
            "inputs": inputs_of(self.request),
            "spindle_rpm": rounded(self.spindle_rpm),
            "cutting_speed_m_min": rounded(p.cutting_speed),
            "chip_load_mm": rounded(p.chip_load),
            "feed_mm_min": rounded(self.feed),
            "plunge_feed_mm_min": rounded(self.plunge_feed),
            "stepdown_mm": rounded(self.stepdown),
            "passes_mm": [rounded(x) for x in self.passes],
            "stepover_mm": rounded(self.stepover),
            "helix": self.helix.to_dict() if self.helix else None,
            "ramp_angle_deg": rounded(self.ramp_angle),
            "ramp_feed_mm_min": rounded(self.ramp_feed),
            "first_cut": self.first_cut.to_dict(),
            "max_chip_thickness_mm": rounded(p.max_chip_thickness),
            "removal_rate_cm3_min": rounded(p.removal_rate),
            "force_n": rounded(p.force),
            "torque_nm": rounded(p.torque),
            "power_w": rounded(p.power),
            "deflection_mm": rounded(p.deflection),
            "range": {
                "feed_mm_min": [rounded(x) for x in self.feed_range],
                "spindle_rpm": [rounded(x) for x in self.rpm_range],
            },
            "limits": [x.to_dict() for x in self.limits],
            "limited_by": list(self.limited_by),
            "pecks_mm": [rounded(x) for x in self.pecks],
            "finish": self.finish.to_dict() if self.finish else None,
            "helps": list(self.helps),
            "spread": self.spread,
            "steps": [x.to_dict() for x in self.steps()],
            "refusal": None,
            "warnings": list(self.warnings),
            "assumptions": list(self.assumptions),
            "safety": list(self.safety),
            "sources": list(self.sources),
        }


@dataclass(frozen=True, slots=True)
class Refusal:
    """What can't be cut well is refused, never clipped to: ``reasons`` say why, ``helps`` what would change it."""

    request: Request
    reasons: tuple[str, ...]
    limited_by: tuple[str, ...] = ()
    helps: tuple[str, ...] = ()
    safety: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    assumptions: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """The same keys as an Advice, ``null`` or empty, with ``refusal`` filled."""
        empty: dict[str, Any] = dict.fromkeys(
            (
                "spindle_rpm", "cutting_speed_m_min", "chip_load_mm", "feed_mm_min", "plunge_feed_mm_min",
                "stepdown_mm",
            )
        )  # fmt: skip
        return {
            "schema": SCHEMA,
            "inputs": inputs_of(self.request),
            **empty,
            "passes_mm": [],
            "stepover_mm": None,
            "helix": None,
            "ramp_angle_deg": None,
            "ramp_feed_mm_min": None,
            "first_cut": None,
            "max_chip_thickness_mm": None,
            "removal_rate_cm3_min": None,
            "force_n": None,
            "torque_nm": None,
            "power_w": None,
            "deflection_mm": None,
            "range": None,
            "limits": [],
            "limited_by": list(self.limited_by),
            "pecks_mm": [],
            "finish": None,
            "helps": list(self.helps),
            "spread": "",
            "steps": [],
            "refusal": {"reasons": list(self.reasons), "helps": list(self.helps)},
            "warnings": [],
            "assumptions": list(self.assumptions),
            "safety": list(self.safety),
            "sources": list(self.sources),
        }


@dataclass(frozen=True, slots=True)
class Rating:
    """Settings the user already has, judged: physics at nominal data, limits at the pessimistic end."""

    request: Request
    spindle_rpm: float
    feed: float
    plunge_feed: float | None
    stepdown: float
    passes: tuple[float, ...]
    stepover: float
    helix: Helix | None
    physics: Physics
    verdict: str  # within, near, over
    limits: tuple[LimitUse, ...] = ()
    limited_by: tuple[str, ...] = ()
    ramp_angle: float | None = None
    warnings: tuple[str, ...] = ()
    assumptions: tuple[str, ...] = ()
    safety: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    spread: str = ""
    not_judged: tuple[str, ...] = ()
    cut: CutLimits | None = None
    engagement: Engagement | None = None

    def steps(self) -> tuple[Step, ...]:
        """How these numbers came about: every formula with its numbers and source."""
        from advisor.steps import steps_of

        return steps_of(self)

    def to_dict(self) -> dict[str, Any]:
        """The ``feedwright.speeds/1`` object of a rating; keys that don't apply are ``null``."""
        p = self.physics
        return {
            "schema": SCHEMA,
            "inputs": inputs_of(self.request),
            "spindle_rpm": rounded(self.spindle_rpm),
            "cutting_speed_m_min": rounded(p.cutting_speed),
            "effective_diameter_mm": rounded(p.effective_diameter),
            "chip_load_mm": rounded(p.chip_load),
            "feed_mm_min": rounded(self.feed),
            "plunge_feed_mm_min": rounded(self.plunge_feed),
            "stepdown_mm": rounded(self.stepdown),
            "passes_mm": [rounded(x) for x in self.passes],
            "stepover_mm": rounded(self.stepover),
            "helix": self.helix.to_dict() if self.helix else None,
            "ramp_angle_deg": rounded(self.ramp_angle),
            "ramp_feed_mm_min": None,
            "first_cut": None,
            "max_chip_thickness_mm": rounded(p.max_chip_thickness),
            "mean_chip_thickness_mm": rounded(p.mean_chip_thickness),
            "engagement_deg": rounded(p.engagement),
            "teeth_in_cut": rounded(p.teeth_in_cut),
            "removal_rate_cm3_min": rounded(p.removal_rate),
            "force_n": rounded(p.force),
            "peak_tooth_force_n": rounded(p.peak_force),
            "thrust_n": rounded(p.thrust),
            "torque_nm": rounded(p.torque),
            "power_w": rounded(p.power),
            "deflection_mm": rounded(p.deflection),
            "stress_n_mm2": rounded(p.stress),
            "range": None,
            "limits": [x.to_dict() for x in self.limits],
            "limited_by": list(self.limited_by),
            "verdict": self.verdict,
            "not_judged": list(self.not_judged),
            "spread": self.spread,
            "steps": [x.to_dict() for x in self.steps()],
            "warnings": list(self.warnings),
            "assumptions": list(self.assumptions),
            "safety": list(self.safety),
            "sources": list(self.sources),
        }


@dataclass(frozen=True, slots=True)
class WindowLine:
    """A limit as a line over spindle speed: feed (mm/min) at each speed of the window."""

    name: str
    label: str
    feed: tuple[float, ...]
    least: bool = False


@dataclass(frozen=True, slots=True)
class Window:
    """Spindle speed against feed for one stepdown: what ``advisor.plot`` draws."""

    title: str
    rpm: tuple[float, ...]
    lines: tuple[WindowLine, ...]
    rpm_bounds: tuple[float, float]
    chosen: tuple[float, float]
    feed_range: tuple[float, float]
    rpm_range: tuple[float, float]
    first_cut: tuple[float, float]
    notes: tuple[str, ...] = field(default=())


def rounded(value: float | None) -> float | None:
    """Six decimals; ``None`` for what is unknown or not finite; never -0.0."""
    if value is None or not math.isfinite(value):
        return None
    result = round(float(value), 6)
    return result if result else 0.0


def inputs_of(request: Request) -> dict[str, Any]:
    """The JSON object ``inputs``: the question as it was understood."""
    cutter, machine, material = request.cutter, request.machine, request.material
    return {
        "cutter": _cutter_dict(cutter),
        "material": material.name if material else None,
        "machine": _machine_dict(machine) if machine else None,
        "operation": request.operation,
        "depth_mm": rounded(request.depth),
        "stepover_mm": rounded(request.stepover),
        "bore_diameter_mm": rounded(request.bore_diameter),
        "helix_angle_deg": rounded(request.helix_angle),
        "tolerance_mm": rounded(request.tolerance),
        "finish": request.finish,
        "specific_force_n_mm2": rounded(request.specific_force),
    }


def _cutter_dict(cutter: Cutter) -> Mapping[str, Any]:
    return {
        "name": cutter.name,
        "form": cutter.form,
        "diameter_mm": rounded(cutter.diameter),
        "flutes": cutter.flutes,
        "flute_length_mm": rounded(cutter.flute_length),
        "stickout_mm": rounded(cutter.stickout),
        "shank_mm": rounded(cutter.shank),
        "corner_radius_mm": rounded(cutter.corner_radius),
        "tip_angle_deg": rounded(cutter.tip_angle),
        "tip_diameter_mm": rounded(cutter.tip_diameter),
        "material": cutter.material,
        "twist": cutter.twist,
        "helix_deg": rounded(cutter.helix),
        "centre_cutting": cutter.centre_cutting,
        "dead_diameter_mm": rounded(cutter.dead_diameter),
        "max_rpm": rounded(cutter.max_rpm),
    }


def _machine_dict(machine: Machine) -> Mapping[str, Any]:
    return {
        "name": machine.name,
        "kind": machine.kind,
        "spindle_min_rpm": rounded(machine.spindle_min),
        "spindle_max_rpm": rounded(machine.spindle_max),
        "spindle_power_w": rounded(machine.spindle_power),
        "feed_max_mm_min": rounded(machine.feed_max),
        "stiffness_n_um": rounded(machine.stiffness),
    }
