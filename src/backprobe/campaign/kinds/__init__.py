"""Whether connectors of another kind, fault or layout could read the same as a faulty vehicle.

Nothing in here decides over a vehicle, its readings or what its own kind of connector could read.
"""
