"""The time step: a setup becomes numbers, numbers become samples; the only home of numba.

`reflection` fits the bore, `parameters` gathers all numbers of a setup, `step` is the one text of
the time step, `mouth` is what is sung, `single` runs the step for a take, `lanes` for many setups
side by side, `compiler` decides how it is compiled.
"""
