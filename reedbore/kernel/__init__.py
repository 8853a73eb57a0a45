"""The time step: a setup becomes numbers, numbers become samples; the only home of numba.

`reflection` fits the bore, `parameters` gathers all numbers of a setup, `step` is the one text of
the time step, `single` runs it for a take, `compiler` decides how it is compiled.
"""
