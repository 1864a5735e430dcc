"""The discrete part of the machine's state, and what a block does to it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

from grammar.classes import dataclass
from grammar.moves import Kind
from grammar.parse import Reject

INCH = 25.4
NO_MOTION = -1
# The block that should have set the motion was refused; what follows from it is not told again. A lost arc is the code
# of the arc below 0 (-20, -30): it holds for blocks that have a centre or a radius of their own.
LOST_MOTION = -2


class State(NamedTuple):
    """The discrete part of the machine's state. Codes in tenths where two of a group differ by a tenth."""

    motion: int = NO_MOTION
    plane: int = 17
    units: int = 21
    distance: int = 90
    feed_mode: int = 94
    compensation: int = 40
    length: int = 49
    system: int = 1
    path: int = 640
    cycle_return: int = 98
    spindle: str = "off"
    mist: bool = False
    flood: bool = False
    overrides: bool = True
    arc_positions: bool = False
    kept: str = ""  # letters whose numbers the cycle in force keeps


AxisWords = tuple[tuple[int, int, float], ...]  # (axis 0..5, slot of its number, mm or degrees a unit)


class Plain(NamedTuple):
    """One straight or circular move whose numbers come from the line: all a bulk reader needs.

    ``axes`` are (axis 0..5, slot, scale) of the words present; ``offsets`` (axis, slot, scale) of I J K present;
    ``radius`` (slot, scale) or None; ``feed`` the slot of F or -1. ``sense`` +1 counterclockwise, -1 clockwise, 0 straight.
    """

    kind: Kind
    axes: AxisWords
    absolute: bool
    feed: int
    scale: float  # mm a length unit
    sense: int = 0
    plane: int = 17
    offsets: AxisWords = ()
    radius: tuple[int, float] | None = None
    centre_absolute: bool = False


Action = tuple[Callable[..., None], tuple[Any, ...]]


class CycleCall(NamedTuple):
    """A canned cycle on a block: its words as (letter or axis, slot), and what of the state it depends on."""

    code: int
    plane: int
    hole: AxisWords
    rotary: AxisWords
    stored: tuple[tuple[str, int], ...]
    repeats: int
    absolute: bool
    scale: float
    cycle_return: int
    first: bool  # first of its row
    same: bool  # the same cycle was in force
    spindle: str
    run: bool


@dataclass(frozen=True, slots=True, eq=False)
class Step:
    """What a block does in a state: the next state, and actions in order; or why the block is refused.

    ``plain`` is set when the block is one plain move: then F (if present) and the move are all there is, and the next
    state differs from the state at most in the motion code, so that ``step`` of the next block of the same shape gives
    a ``Step`` with the same ``plain``.
    """

    state: int
    actions: tuple[Action, ...] = ()
    reject: Reject | None = None
    plain: Plain | None = None
    relaxed: tuple[str, ...] = ()
    unused: str = ""
