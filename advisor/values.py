"""The frozen values everything else works on: cutter, material, machine, workpiece, hold, setting of one program.

Lengths mm, feeds mm/min, speeds rev/min, angles degrees, forces N, power W, stiffness N/um, acceleration mm/s2.
``None`` means not known; nothing here guesses. Only the standard library is imported: the speeds path stays light.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import Any

from grammar.classes import dataclass


@dataclass(frozen=True, slots=True)
class Value:
    """A number of the catalogue with its spread and where it comes from."""

    low: float
    chosen: float
    high: float
    unit: str
    source: str  # a key of advisor.sources, or "common practice, no source", or "from memory: WORK"


@dataclass(frozen=True, slots=True)
class Cutter:
    """A rotating cutter as it sits in the holder (ISO 3002 names where they exist)."""

    name: str
    form: str = "flat"  # flat, ball, corner, vee, drill
    diameter: float = 6.0
    flutes: int = 2
    flute_length: float | None = None
    stickout: float | None = None  # holder face to tip
    shank: float | None = None
    corner_radius: float = 0.0
    tip_angle: float | None = None  # included angle of a V cutter or drill point
    tip_diameter: float = 0.0  # flat at the tip of a V cutter
    material: str = "carbide"  # carbide, hss
    twist: str = "up"  # up, down, straight, compression
    up_length: float | None = None  # up-cut part of a compression cutter
    helix: float = 30.0
    centre_cutting: bool = True
    dead_diameter: float = 0.0  # uncut core of a cutter that is not centre-cutting
    ramp_angle: float | None = None  # as given by its maker
    core_ratio: float | None = None  # core diameter / diameter
    max_rpm: float | None = None  # as marked on it
    runout: float | None = None  # total indicator reading at the tip
    holder_diameter: float | None = None
    holder_length: float | None = None
    tool: int | None = None
    length_offset: float | None = None
    offset_diameter: float | None = None
    source: str = ""
    stiffness_ratio: float | None = None  # diameter of the plain bar that bends as much / diameter, fluted part
    edge_radius: float | None = None  # mm, of the cutting edge, sharp
    core_height: float | None = None  # how far the uncut core sits above the end teeth
    use: tuple[str, ...] = ()  # material families it is made for; empty: not told
    values: Mapping[str, Value] = field(default_factory=dict, compare=False)  # each number with spread and source

    @property
    def radius(self) -> float:
        """Half the diameter, mm."""
        return self.diameter / 2


@dataclass(frozen=True, slots=True)
class Material:
    """A work material; every number a ``Value``.

    ``family`` groups the rules: wood, board, plastic, foam, aluminium, copper, steel, iron, titanium, composite.
    """

    name: str
    title: str
    family: str
    values: Mapping[str, Value]  # see advisor/catalogue for the keys
    chip_load: Mapping[float, Value]  # by cutter diameter, mm per tooth
    hazards: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    refusals: Mapping[str, str] = field(default_factory=dict)  # cutter material -> why it is not advised here
    source: str = ""


@dataclass(frozen=True, slots=True)
class Machine:
    """A machine class or the user's own machine."""

    name: str
    title: str = ""
    kind: str = "router"  # router, mill
    spindle_min: float = 0.0
    spindle_max: float = 24000.0
    spindle_power: float = 800.0  # W at the shaft, rated
    power_curve: tuple[tuple[float, float], ...] = ()  # (rpm, W), ascending; empty: constant torque up to spindle_max
    efficiency: float = 0.85
    feed_max: float = 5000.0  # X and Y
    feed_max_z: float = 2000.0
    rapid: tuple[float, float, float] = (5000.0, 5000.0, 2000.0)
    acceleration: tuple[float, float, float] = (500.0, 500.0, 300.0)
    corner_deviation: float = 0.02  # path deviation allowed at a corner
    stiffness: float = 2.0  # at the tool, softest horizontal axis
    holder_stiffness: float = 20.0
    spin_up: float = 4.0  # s to full speed
    runout: float = 0.02
    natural_frequency: float | None = None  # Hz
    damping: float | None = None
    change: str = "hand"  # hand, automatic
    spindle_start: str = "program"  # program, hand, interlock
    chip_clearing: tuple[str, ...] = ()  # air, mist, flood, extraction
    travel: Mapping[str, tuple[float, float]] | None = None  # machine coordinates
    nose_diameter: float | None = None
    nose_length: float | None = None  # holder face to spindle nose or dust shoe
    codes: tuple[str, ...] = ()  # extra codes this machine takes; informational
    sources: Mapping[str, str] = field(default_factory=dict)
    axis_push: float | None = None  # N, force an axis drive can hold against the cut
    values: Mapping[str, Value] = field(default_factory=dict, compare=False)  # each number with spread and source


@dataclass(frozen=True, slots=True)
class Pin:
    """A hole meant to go below the stock."""

    x: float
    y: float
    diameter: float
    depth: float


@dataclass(frozen=True, slots=True)
class Keepout:
    """A box no part of cutter, shank or holder may enter; stock coordinates."""

    name: str
    low: tuple[float, float, float]
    high: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Layer:
    """One veneer of a board, from the top down."""

    thickness: float


@dataclass(frozen=True, slots=True)
class Workpiece:
    """The stock. ``zero`` is program zero in stock coordinates (from the lowest corner)."""

    material: str | None
    size: tuple[float, float, float]
    zero: tuple[float, float, float]
    thickness: tuple[float, float] | None = None  # as measured: least, greatest
    layers: tuple[Layer, ...] = ()
    assumed: bool = False  # taken from the cut's extents


@dataclass(frozen=True, slots=True)
class Hold:
    """How the workpiece is held."""

    method: str | None = None  # screws, clamps, vacuum, tape, vise
    points: tuple[tuple[float, float], ...] = ()
    spoilboard: float | None = None  # how far below the stock cutting is allowed
    pins: tuple[Pin, ...] = ()
    keepouts: tuple[Keepout, ...] = ()


@dataclass(frozen=True, slots=True)
class Turn:
    """How a workpiece is turned over between set-ups."""

    about: str  # about-x, about-y


@dataclass(frozen=True, slots=True)
class Setup:
    """One clamping of a job and the programs run in it, in order."""

    programs: tuple[str, ...]
    turn: Turn | None = None
    workpiece: Workpiece | None = None
    hold: Hold | None = None


@dataclass(frozen=True, slots=True)
class Job:
    """Programs that cut one workpiece, in order."""

    name: str
    setups: tuple[Setup, ...]


@dataclass(frozen=True, slots=True)
class JobPlace:
    """Where a program stands in its job. Numbers count from 1; names are paths as seen from the shop file's folder."""

    job: str
    name: str
    program: int  # of all programs of the job
    programs: int
    setup: int
    setups: int
    turn: str | None = None  # how the piece was turned over before this set-up: about-x, about-y
    begins: bool = False  # it is the first program of its set-up
    before: tuple[str, ...] = ()  # the programs before it, in order
    origin: str = ""  # file and line of its set-up


@dataclass(frozen=True, slots=True)
class Checks:
    """What ``[checks]`` says."""

    dialect: str = "shop"
    require: tuple[str, ...] = ()
    severity: Mapping[str, str] = field(default_factory=dict)  # rule -> error, warning, note, off
    options: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)  # rule -> option -> value (mm etc.)
    dialect_options: Mapping[str, bool] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Setting:
    """Everything in force for one program; ``origins`` tells per dotted key where its value came from."""

    machine: Machine | None = None
    cutters: Mapping[int, Cutter] = field(default_factory=dict)  # by T number
    any_cutter: Cutter | None = None  # for programs that never name a tool
    tool_table: Mapping[int, tuple[float | None, float | None]] = field(default_factory=dict)  # (length offset, diameter) of
    # tools whose cutter nobody described, by T number
    material: Material | None = None
    workpiece: Workpiece | None = None
    hold: Hold = Hold()
    offsets: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)
    start: Mapping[str, Any] = field(default_factory=dict)
    checks: Checks = Checks()
    assume_stock: bool = False
    fragment: bool = False
    allowances: tuple[tuple[str, str], ...] = ()  # (rule, reason) from the shop file
    job: JobPlace | None = None  # where the program stands among those that cut one workpiece
    origins: Mapping[str, str] = field(default_factory=dict)
