"""Simulated vehicles with a known truth, and how often the program finds it.

The circuits here share nothing with the family files or with core.circuit: their solver, their
component values and their meter are written anew, so that an agreement between the two says
something.
"""
