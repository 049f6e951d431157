"""How far a search goes before it answers."""

from enum import StrEnum


class Depth(StrEnum):
    """From the first look to all that there is.

    GLANCE : what was near before, or what the bank suggests, fitted to the readings and weighed by
        Laplace's evidence; nothing is sampled.
    QUICK : a search without its widest part.
    WHOLE : all of it.

    Where an earlier answer is there to go on from, a search does so at any depth.
    """

    GLANCE = "glance"
    QUICK = "quick"
    WHOLE = "whole"
