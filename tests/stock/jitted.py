"""A compiled function for the test of the compile cache."""

from grammar.jit import kernel


@kernel
def double(x):  # type: ignore[no-untyped-def]
    """Twice x."""
    return 2 * x
