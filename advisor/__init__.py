"""Cutting advice and the check of programs against it.

Cutter + material + machine -> limits -> recommendation; moves + stock + cutters -> engagement -> findings -> report.
"""
__version__ = "0.1.0"
