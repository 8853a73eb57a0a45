"""Passages as MusicXML scores, out and in."""
