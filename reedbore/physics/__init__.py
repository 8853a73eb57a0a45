"""Textbook acoustics as plain formulas: SI in, SI out; no model, no sample rate."""
