"""Plain data for a spreadsheet, and rows of words for a terminal."""

import csv
import io

from reedbore.report.document import columns, csv_text, flat


def test_what_is_nested_gets_joined_keys():
    assert flat({"a": 1, "b": {"c": 2, "d": {"e": None}}}) == {"a": 1, "b_c": 2, "b_d_e": None}


def test_a_ratio_is_two_numbers_that_no_spreadsheet_takes_for_a_date():
    assert flat({"x": {"ratio": "5/2"}}) == {"x_p": "5", "x_q": "2"}
    assert flat({"ratio": None}) == {"p": None, "q": None}


def test_a_range_has_two_columns_whether_it_was_found_or_not():
    assert flat({"lock_range_cents": [-1.0, 2.0]}) == {
        "lock_range_cents_low": -1.0,
        "lock_range_cents_high": 2.0,
    }
    assert flat({"lock_range_cents": None}) == {
        "lock_range_cents_low": None,
        "lock_range_cents_high": None,
    }


def test_a_table_without_rows_still_has_a_head():
    assert csv_text([], "note") == "note\r\n"
    assert list(csv.DictReader(io.StringIO(csv_text([{"a": "x, y"}], "a")))) == [{"a": "x, y"}]


def test_columns_stand_closer_before_a_line_gets_too_wide():
    rows = [("a", "bb", "c"), ("ddd", "1", "")]
    assert columns(rows, right=[1]) == ["a     bb   c", "ddd    1"]
    assert columns(rows, right=[1], widest=10) == ["a    bb  c", "ddd   1"]
    assert columns(rows, right=[1], widest=5) == ["a   bb c", "ddd  1"]
