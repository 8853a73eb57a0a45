"""From what is asked for to what sounds."""
