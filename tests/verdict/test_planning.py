"""A plan by arithmetic: what gives a wanted third note, what is better, the cheapest way."""

import itertools
import math

import pytest

from reedbore.model.line import read_line
from reedbore.model.passage import Passage
from reedbore.model.presets import load_horn, load_singer
from reedbore.notes import cents, midi_to_hz, parse_note
from reedbore.verdict.plan import EASE_COSTS, Choice, Plan, Step, Tried, best_first
from reedbore.verdict.planning import (
    CHANGE_COST,
    Fingered,
    effort,
    fingered_notes,
    led,
    moved,
    nearest_to,
    pairs_for,
    pairs_over,
    passage_steps,
    tried,
    wanted_steps,
)
from reedbore.verdict.state import Ease, Heard, RowState

TENOR, LOW = load_horn("tenor-saxophone"), load_singer("low-male")
REACH = LOW.reach(440.0)


def hz(note):
    return midi_to_hz(parse_note(note))


def all_pairs(reach=REACH):
    """List all pairs of the low register, which does not hang on the vents of a preset."""
    low, high = TENOR.midi_range
    notes = [Fingered(midi_to_hz(midi)) for midi in range(low, high + 1)]
    return [pair for note in notes for pair in pairs_over(note, reach)]


def found(width, heard=Heard.YES, pulled=10.0, state=RowState.LOCKED, aim=170.0):
    return Tried(
        state=state, reason=None, played_hz=116.54, aim_hz=aim, width_cents=width,
        pulled_cents=pulled, held=1.0, heard=heard, depth=0.1, softest=0.05,
    )  # fmt: skip


def over(ratio, told=None, note="Bb2"):
    return Choice(fingered_hz=hz(note), ratio=ratio, tried=told)


def made_plan(steps):
    return Plan(title="a line", horn=TENOR, singer=LOW, choices=(), steps=tuple(steps))


def test_over_a_note_stands_every_ratio_that_the_voice_has_and_no_other():
    low, high = REACH
    note = Fingered(hz("Bb2"))
    wanted = {
        (p, q)
        for p, q in itertools.product(range(1, 9), repeat=2)
        if math.gcd(p, q) == 1 and low <= note.hz * p / q <= high
    }
    assert {pair.ratio for pair in pairs_over(note, REACH)} == wanted


def test_all_notes_of_a_horn_are_planned_those_under_its_vents_too():
    notes = [note.hz for note in fingered_notes(TENOR)]
    assert notes == [midi_to_hz(midi) for midi in TENOR.notes()]
    assert notes[-1] > midi_to_hz(TENOR.midi_range[1])
    whole = [pair for note in fingered_notes(TENOR) for pair in pairs_over(note, REACH)]
    # A third of G4, sung as C4: the low register has no C3 for this voice.
    assert [pair.ratio for pair in pairs_for(hz("C3"), whole)] == [(2, 3)]
    assert not pairs_for(hz("C3"), all_pairs())


def test_a_wanted_third_note_is_had_from_every_fingered_note_that_has_it_as_a_part():
    pairs = pairs_for(hz("F1"), all_pairs())
    # F1 is a third of C3, a quarter of F3 and, 14 cents sharp, a fifth of A3.
    assert {(round(pair.fingered_hz, 2), pair.ratio[1]) for pair in pairs} == {
        (round(hz("C3"), 2), 3),
        (round(hz("F3"), 2), 4),
        (round(hz("A3"), 2), 5),
    }
    assert all(min(pair.ratio) > 1 for pair in pairs)
    assert max(abs(cents(pair.common_hz, hz("F1"))) for pair in pairs) < 20.0


@pytest.mark.parametrize(("tolerance", "had"), [(13.0, False), (14.0, True)])
def test_a_third_note_counts_as_wanted_up_to_the_tolerance(tolerance, had):
    # A fifth of A3 lies 13.7 cents over F1.
    pairs = pairs_for(hz("F1"), all_pairs(), tolerance)
    assert (round(hz("A3"), 2) in {round(pair.fingered_hz, 2) for pair in pairs}) == had


def test_what_cannot_be_had_has_nearest_ones_on_either_side():
    wanted = hz("C3")  # above half of what this horn plays
    assert not pairs_for(wanted, all_pairs())
    below, *above = nearest_to(wanted, all_pairs())
    assert not above
    # Half of A3, sung as its fifth: E4, the highest note of this voice.
    assert (below.ratio, below.common_hz) == ((3, 2), pytest.approx(hz("A2")))
    thirds = {pair.common_hz for pair in all_pairs() if pair.heard == Heard.YES}
    assert below.common_hz == pytest.approx(max(thirds))


def test_what_falls_into_step_easily_goes_first_then_what_is_heard_then_the_wider():
    pairs = [
        over((7, 6)),
        over((5, 4), found(0.0, None, None, RowState.FREE)),
        over((7, 2), found(12.0)),
        over((5, 3), found(60.0)),
        over((2, 1), found(90.0, Heard.FINGERED)),
        over((5, 2), found(70.0)),
        over((7, 4), found(60.0, pulled=-40.0)),
        over((4, 3)),
    ]
    order = [pair.ratio for pair in best_first(pairs)]
    assert order == [(5, 2), (5, 3), (7, 4), (2, 1), (7, 2), (4, 3), (7, 6), (5, 4)]


def test_the_way_through_a_line_is_the_cheapest_of_all_ways():
    pairs = all_pairs()
    wanted = [hz(note) for note in ("F1", "G1", "Bb1", "Ab1")]
    had = [pairs_for(one, pairs)[:7] for one in wanted]
    steps = [
        Step(beat=k, beats=1.0, choice=some[0], others=tuple(some[1:]))
        for k, some in enumerate(had)
    ]

    def price(way):
        alone = sum(map(effort, way))
        return alone + sum(itertools.starmap(moved, itertools.pairwise(way)))

    best = min(price(way) for way in itertools.product(*had))
    assert price([step.choice for step in led(steps)]) == pytest.approx(best)
    greedy = price([some[0] for some in had])
    assert best < greedy - 1.0


def test_steps_without_a_pair_stay_and_the_way_goes_on_over_them():
    steps = wanted_steps(read_line("F1:2 rest:1 C3:1 G1:2"), all_pairs(), 20.0)
    assert [step.choice is None for step in steps] == [False, True, True, False]
    assert steps[1].wanted_hz is None
    assert steps[2].nearest
    assert not steps[0].nearest
    assert [step.beat for step in steps] == [0.0, 2.0, 3.0, 4.0]


def test_what_is_simulated_moves_the_choice_and_the_aim():
    steps = wanted_steps(read_line("F1:1"), all_pairs(), 20.0)
    plan = made_plan(steps)
    other = steps[0].others[-1]
    known = {pair.key: found(0.0, None, None, RowState.FREE) for pair in steps[0].pairs}
    known[other.key] = found(80.0, aim=123.4)
    [step] = tried(plan, known).steps
    assert step.choice.key == other.key
    assert step.choice.sing_hz == 123.4
    assert step.choice.ease == Ease.BY_ITSELF
    assert all(pair.ease == Ease.NEVER for pair in step.others)
    assert step.choice.common_hz == pytest.approx(116.54 / other.ratio[1])


PIECE = Passage(tempo=1.0, fingered="Bb2:4~ D3:2", sung="D4:2~ F3:1 rest:1 A3:2")


def test_a_passage_stays_as_it_is_where_the_voice_has_its_notes():
    steps = passage_steps(PIECE, REACH)
    assert [(step.beat, step.beats) for step in steps] == [(0, 2), (2, 1), (3, 1), (4, 2)]
    assert [step.choice and step.choice.ratio for step in steps] == [(5, 2), (3, 2), None, (3, 2)]
    plan = made_plan(steps).passage
    assert plan.fingered == "Bb2:4~ D3:2"
    assert plan.sung == "D4-13.69c:2~ F3+1.96c:1 rest:1 A3+1.96c:2"


def test_another_voice_keeps_the_third_notes_and_sings_them_where_it_can():
    high = load_singer("high-female")
    reach = high.reach(440.0)
    steps = [step for step in passage_steps(PIECE, reach) if step.choice]
    assert [step.choice.ratio[1] for step in steps] == [2, 2, 2]
    assert all(reach[0] <= step.choice.just_hz <= reach[1] for step in steps)


def test_a_voice_that_lacks_every_pair_with_that_third_note_takes_another():
    narrow = hz("A2") * 0.99, hz("A2") * 1.2
    steps = passage_steps(Passage(tempo=1.0, fingered="Bb2:1", sung="F3:1"), narrow)
    assert steps[0].choice is not None
    assert steps[0].choice.ratio[1] != 2
    assert steps[0].wanted_hz == pytest.approx(hz("Bb2") / 2.0)


def test_over_a_line_without_a_voice_any_pair_may_stand():
    steps = passage_steps(Passage(tempo=1.0, fingered="Bb2:2 rest:1 D3:2"), REACH)
    assert [step.choice is None for step in steps] == [False, True, False]
    assert steps[0].wanted_hz is None


def test_a_passage_keeps_its_note_until_that_does_not_fall_into_step():
    steps = passage_steps(Passage(tempo=1.0, fingered="Bb2:1", sung="D4:1"), REACH)
    assert steps[0].choice.ratio == (5, 2)  # a fifth is simpler
    other = next(pair for pair in steps[0].others if pair.ratio == (3, 2))
    plan, easy = made_plan(steps), {other.key: found(80.0)}
    hard = {steps[0].choice.key: found(4.0)}
    never = {steps[0].choice.key: found(0.0, None, None, RowState.FREE)}
    assert tried(plan, easy | hard).steps[0].choice.ratio == (5, 2)
    assert tried(plan, easy | never).steps[0].choice.ratio == (3, 2)
    assert EASE_COSTS[Ease.HARDLY] < CHANGE_COST < EASE_COSTS[Ease.NEVER]


def test_a_plan_without_any_pair_is_no_passage():
    assert made_plan([Step(beat=0.0, beats=1.0, wanted_hz=20.0)]).passage is None
