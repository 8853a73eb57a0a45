"""The time step: numbers in, samples out; knows no model; the only home of numba.

`rows` names the rows of all tables, `numbers` is a setup as the kernels take it, `valve` what
stands between mouth and bore, `folds` a singer's, `step` the one text of the time step. `single`
runs it for a take, `passage` for a reed whose bore changes, `lanes` for many setups side by side;
these `executor` hands to a machine, in `blocks`. `compiler` decides how all is compiled.
"""
