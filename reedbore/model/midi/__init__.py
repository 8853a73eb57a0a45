"""Passages as Standard MIDI Files, out and in."""
