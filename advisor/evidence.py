"""What rules look at: one program placed in its stock, with everything derived from it, each part worked out once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from advisor.values import Cutter, Setting

if TYPE_CHECKING:
    from grammar.moves import Mode, Program


@dataclass(frozen=True, eq=False)
class Evidence:
    """``missing`` names what is not there ("stock", "cutter", "material", "machine", ...) with a reason for the operator."""

    program: Program
    setting: Setting

    @cached_property
    def placed(self) -> Any:
        """Moves in stock coordinates (advisor.place.Placed), or None when no stock is declared."""
        from advisor.place import place

        return place(self.program, self.setting)

    @cached_property
    def cuts(self) -> Any:
        """What every piece of the path removed and touched (advisor.stock.Cuts), or None without stock or cutters."""
        from advisor.stock import remove

        return remove(self.placed, self.setting) if self.placed is not None else None

    @cached_property
    def timing(self) -> Any:
        """Acceleration-limited times (advisor.timing.Timing)."""
        from advisor.timing import time_path

        return time_path(self.program.moves, self.setting.machine)

    def cutter_for(self, mode: Mode) -> Cutter | None:
        """The cutter in the spindle during a move, or None when it is not known."""
        tool = mode.tool
        if tool is not None and tool in self.setting.cutters:
            return self.setting.cutters[tool]
        return self.setting.any_cutter
