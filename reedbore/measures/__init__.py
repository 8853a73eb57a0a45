"""Measures on sampled signals: arrays and a rate in, numbers out."""
