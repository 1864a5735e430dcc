"""Reading of RS-274 programs: bytes -> source -> blocks -> machine state -> moves.

Nothing in this package knows a cutter, a material, physics or the disk.
"""
