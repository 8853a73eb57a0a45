"""Bore and airway: exact, and as the numbers that the time step runs on."""
