"""Circuits as batched nodal equations: solution, sensitivities, added resistances."""
