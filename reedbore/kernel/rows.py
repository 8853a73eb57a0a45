"""Rows of the tables that the kernels work on, and their widths: all that compiled loops share.

A setup, or a lane, is one column. What changes in time stands in a table of its own: the state.
Many lanes have both in one table, a block, and below them what a lane blows, hears and measures.
"""

# How many of each there are.
POLES = 10
"""Real poles of the reflection filter."""

PAIRS = 18
"""Most pole pairs: those of a bore with tone holes or a flare."""

ROW_PAIRS = 8
"""Pole pairs of a bore that ends in an endless row of holes."""

CHAMBER_PAIRS = 14
"""The same where the mouthpiece is a tube."""

UPPER_POLES = 4
"""Real poles of the filter between reed and vent."""

JUNCTIONS = 1
"""Junctions between reed and vent: that of a mouthpiece's tube with the cone."""

ECHOES = 12
"""Most echoes before the main one."""

NEAR = 7
"""Most of them that come sooner than `AHEAD` steps: no two come together."""

BRANCHES = 5
"""Branches of the network that stands for the throat of a cone."""

UPSTREAM_POLES = 3
"""Real poles of the player's airway: the lungs', and two that help."""

UPSTREAM_PAIRS = 7
"""Most pole pairs: of a tongue shape. Six miss 0.5 dB, an eighth gains 0.2 dB at most."""

TAPS = 4
"""Places at which a delay line is heard: the delay need not be whole."""

TABLE = 8192
"""Points of one period of the sung waveform."""

LANES = 16
"""Lanes of a block: their numbers and state fit into the nearest cache."""

AHEAD = 8
"""Most steps that lanes look up at once: so many values stand behind the end of a delay line."""

BURST_PA = 1e6
"""No reed makes ten atmospheres: a run that passes this has diverged. [Pa]"""

VENT_RISE_S = 0.01
"""In this time a vent opens. [s]"""

# Rows of the table of numbers.
STIFF, DAMPED, REST, GIVE = range(4)  # reed
CONTACT, LAY_DAMPED = range(4, 6)  # lay: stiffness, and what it damps more than the reed is
CHANNEL, PISTON, CONDUCTANCE = range(6, 9)  # flow at the reed
WAVE, VOLUME = range(9, 11)  # bore at the reed
CLOSING, SLIT = range(11, 13)  # reed without mass
DECAY = 13  # throat
INFLOW = DECAY + BRANCHES
BACKFLOW = INFLOW + BRANCHES
SERIES = BACKFLOW + BRANCHES  # mouth: share of the bore's admittance that is left in series with it
SOURCE, AT_ONCE, FLOW_WAVE, INCOMING_WAVE = range(SERIES + 1, SERIES + 5)
MOUTH_GAIN = INCOMING_WAVE + 1
MOUTH_POLE = MOUTH_GAIN + UPSTREAM_POLES
MOUTH_TURN = MOUTH_POLE + UPSTREAM_POLES
MOUTH_SHRINK = MOUTH_TURN + UPSTREAM_PAIRS
MOUTH_PAIR_GAIN = MOUTH_SHRINK + UPSTREAM_PAIRS
MOUTH_PAIR_SLOPE = MOUTH_PAIR_GAIN + UPSTREAM_PAIRS
DIRECT = MOUTH_PAIR_SLOPE + UPSTREAM_PAIRS  # reflection
GAIN = DIRECT + 1
POLE = GAIN + POLES
FADE = POLE + POLES
TURN = FADE + 1  # pole pairs: a, b of 1 - a/z + b/z², numerators
SHRINK = TURN + PAIRS
PAIR_GAIN = SHRINK + PAIRS
PAIR_SLOPE = PAIR_GAIN + PAIRS
UPPER_DIRECT = PAIR_SLOPE + PAIRS  # vent, and the upper bore, down to it
UPPER_GAIN = UPPER_DIRECT + 1
UPPER_POLE = UPPER_GAIN + UPPER_POLES
VENT_MASS, VENT_LOSS, VENT_JET, VENT_WAVE = range(
    UPPER_POLE + UPPER_POLES, UPPER_POLE + UPPER_POLES + 4
)
JUNCTION_TUBE = VENT_WAVE + 1  # of a mouthpiece's tube with the cone above a vent
JUNCTION_CONE = JUNCTION_TUBE + JUNCTIONS
JUNCTION_TIP = JUNCTION_CONE + JUNCTIONS
NUMBERS = JUNCTION_TIP + JUNCTIONS

# Rows of the table of state.
OPENING, BEFORE, VOLUME_FLOW, ECHOING = range(4)
MEMORY = 4
THROAT_FLOW = MEMORY + POLES
RINGING = THROAT_FLOW + BRANCHES
RINGING_BEFORE = RINGING + PAIRS
UPPER_MEMORY = RINGING_BEFORE + PAIRS
VENT_FLOW, VENT_DRIVE = range(UPPER_MEMORY + UPPER_POLES, UPPER_MEMORY + UPPER_POLES + 2)
TIP_FLOW = VENT_DRIVE + 1
IN_MOUTH = TIP_FLOW + JUNCTIONS  # pressure, and the wave that leaves
INTO_MOUTH = IN_MOUTH + 1
MOUTH_MEMORY = INTO_MOUTH + 1
MOUTH_RINGING = MOUTH_MEMORY + UPSTREAM_POLES
MOUTH_RINGING_BEFORE = MOUTH_RINGING + UPSTREAM_PAIRS
STATE = MOUTH_RINGING_BEFORE + UPSTREAM_PAIRS

# Rows of a block, below the numbers and the state of the step.
BREATH, RISE, DEPTH, FADE_IN = range(NUMBERS + STATE, NUMBERS + STATE + 4)  # what is set
SUNG_TURN, CLOCK_TURN, VENT_OPENS = range(FADE_IN + 1, FADE_IN + 4)
TAP = VENT_OPENS + 1
UPPER_TAP = TAP + TAPS
TUBE_TAP = UPPER_TAP + TAPS
ECHO = TUBE_TAP + TAPS
NEAR_ECHO = ECHO + ECHOES
DELAYED = NEAR_ECHO + NEAR  # what moves
UPPER_DELAYED = DELAYED + TAPS
TUBE_DELAYED = UPPER_DELAYED + TAPS
EARLY, ARRIVING, REFLECTED, SUNG, BLOWN, FADED = range(TUBE_DELAYED + TAPS, TUBE_DELAYED + TAPS + 6)
UPSTREAM, PRESSURE, OUT, BELOW, ONWARD = range(FADED + 1, FADED + 6)
TICK, TOTAL, SQUARES, SANE = range(ONWARD + 1, ONWARD + 5)  # what is measured
CLOCK, CLOCK_SINE, ROTATE, ROTATE_SINE = range(SANE + 1, SANE + 5)
ROWS = ROTATE_SINE + 1

# Rows of a block's table of places, whole numbers.
FIRST, UPPER_FIRST, TUBE_FIRST, PERIOD, ECHO_PLACE = range(5)
NEAR_PLACE = ECHO_PLACE + ECHOES
PLACES = NEAR_PLACE + NEAR

# A block's tables of what is looked up for some steps at once, a row a step.
COMING, COMING_EARLY, COMING_DOWN, COMING_SUNG, GOING, GOING_DOWN = range(6)
COMING_THROUGH, GOING_ON = range(6, 8)  # the tube of a mouthpiece, and past its end
TILES = 8
