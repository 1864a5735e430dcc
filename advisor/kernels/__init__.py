"""Array kernels of the stock model: ``plan`` cuts moves into sweeps, ``sweep`` is their numpy form, ``compiled`` the
form compiled by numba, loaded only when the work pays for it."""
