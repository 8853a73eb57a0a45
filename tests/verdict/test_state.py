"""States are words in every output, and codes in a store that never change."""

import json

import numpy as np
import pytest
import zarr

from reedbore.verdict.state import EdgeState, HornState, Reason, RowState, State, flags


def test_states_keep_their_codes():
    # Stores of earlier versions hold these numbers.
    assert {state.code: str(state) for state in State} == {
        -1: "not run", 0: "unsung", 1: "silent", 2: "locked", 3: "drifting", 4: "rough",
        5: "irregular", 6: "undecided", 7: "failed",
    }  # fmt: skip
    assert {state.code: str(state) for state in EdgeState} == {
        -1: "not run", 0: "elsewhere", 1: "no lock", 2: "narrow", 3: "lock", 4: "failed",
        5: "unsung",
    }  # fmt: skip


@pytest.mark.parametrize("state", [*State, *EdgeState])
def test_a_state_is_found_again_by_its_code(state):
    assert type(state).of(state.code) is state
    assert type(state).of(np.int8(state.code)) is state


def test_an_unknown_code_is_named():
    with pytest.raises(ValueError, match="8 is the code of no State"):
        State.of(8)


@pytest.mark.parametrize("kind", [State, EdgeState, RowState, HornState, Reason])
def test_members_are_their_words_in_every_output(kind):
    for member in kind:
        assert f"{member}" == str(member) == member.value
        assert json.dumps({member: member}) == json.dumps({member.value: member.value})
        assert {member: 1}[member.value] == 1


def test_a_store_keeps_states_as_plain_words(tmp_path):
    about = {"state": State.LOCKED, "states": {State.NOT_RUN: 3}, **flags(State)}
    zarr.create_group(tmp_path / "a.zarr", zarr_format=3, attributes=about)
    kept = dict(zarr.open_group(tmp_path / "a.zarr", mode="r").attrs)
    assert kept["state"] == "locked"
    assert kept["states"] == {"not run": 3}
    assert kept["flag_values"] == [-1, 0, 1, 2, 3, 4, 5, 6, 7]
    assert kept["flag_meanings"] == (
        "not_run unsung silent locked drifting rough irregular undecided failed"
    )


def test_pairs_are_told_from_the_rest():
    paired = {State.LOCKED, State.DRIFTING, State.ROUGH, State.IRREGULAR}
    assert {state for state in State if state.pair} == paired
