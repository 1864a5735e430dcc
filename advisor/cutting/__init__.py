"""Pure formulas of cutting, one module a topic; floats in, floats out, keyword only, nothing imported but ``math``.

Units are those of the whole project: mm, mm/min, rev/min, N, W, N m, N/mm2, degrees, seconds, unless the symbol table
of a formula says otherwise (cutting speed is m/min, removal rate cm3/min, as the trade writes them).

What a formula does outside its range is decided once:

* input for which it has no meaning (a zero diameter, a cut wider than the cutter) raises ``RangeError``, which names
  the input, its value and what is wanted;
* input for which it still has a value but that its source does not cover is answered, and
  ``caveats(formula, **input)`` tells so in words. The covered range is data beside the formula (``@covers``).

Formulas used along whole programs have the same form for numpy arrays in ``advisor.cutting.arrays``.
"""
