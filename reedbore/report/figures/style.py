"""Colours and resolution of all pictures: paper and ink, horn, voice, and both together."""

PAPER, INK, FAINT = "#fbf9f4", "#26251f", "#8b887d"
HORN_BLUE, VOICE_ORANGE, TOGETHER = "#1d5c86", "#c9630c", "#7a1f52"
DOTS_PER_INCH = 100
