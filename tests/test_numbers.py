"""Spoken numbers: tables as people say them, and num2words said back."""

from __future__ import annotations

import random
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from num2words import num2words

from voicenotes.language.numbers import Number, find_numbers, lexicon, parse_number


def words(text: str) -> list[str]:
    """As the tokeniser gives them: lower case, commas gone, hyphens split."""
    return re.sub(r"[-,]", " ", text.lower()).split()


def whole(text: str) -> Number:
    """The number that takes all of `text`."""
    tokens = words(text)
    number = parse_number(tokens, 0)
    assert number is not None, text
    assert number.end == len(tokens), (text, number)
    return number


SAID = [
    ("forty seven", 47),
    ("fourty two", 42),
    ("one hundred and twenty", 120),
    ("one hundred twenty", 120),
    ("a hundred", 100),
    ("hundred and ten", 110),
    ("a hundred and forty", 140),
    ("one twenty", 120),
    ("two fifty", 250),
    ("three fifty five", 355),
    ("two ten", 210),
    ("twelve fifty", 1250),
    ("twenty two hundred", 2200),
    ("twelve hundred", 1200),
    ("twelve hundred and fifty", 1250),
    ("nineteen hundred", 1900),
    ("fourteen thousand two hundred", 14200),
    ("fourteen thousand two fifty", 14250),
    ("two fifty thousand", 250000),
    ("one hundred and twenty thousand", 120000),
    ("two thousand and eight", 2008),
    ("two thousand oh eight", 2008),
    ("two thousand five", 2005),
    ("a thousand", 1000),
    ("a million", 1_000_000),
    ("a couple of hundred", 200),
    ("couple hundred", 200),
    ("a couple of", 2),
    ("a dozen", 12),
    ("two dozen", 24),
    ("half a dozen", 6),
    ("half a million", 500_000),
    ("zero", 0),
    ("nought", 0),
    ("nought point oh two", 0.02),
    ("point five", 0.5),
    ("point oh oh two", 0.002),
    ("point zero zero oh five", 0.0005),
    ("point double oh two", 0.002),
    ("point fifteen", 0.15),
    ("point oh fifteen", 0.015),
    ("zero point zero one five", 0.015),
    ("oh point five", 0.5),
    ("one point seventy five", 1.75),
    ("fourteen point two", 14.2),
    ("one hundred and twenty point five", 120.5),
    ("one point five thousand", 1500),
    ("point 002", 0.002),
    ("0 point 0 2", 0.02),
    ("2 point 5", 2.5),
    ("two and a half", 2.5),
    ("two and a half thousand", 2500),
    ("one and a quarter", 1.25),
    ("one and three quarters", 1.75),
    ("two and five eighths", 2.625),
    ("two and one half", 2.5),
    ("one hundred and a half", 100.5),
    ("two 1/2", 2.5),
    ("a half", 0.5),
    ("one half", 0.5),
    ("half a", 0.5),
    ("half an", 0.5),
    ("a quarter", 0.25),
    ("three quarters", 0.75),
    ("three sixteenths", 3 / 16),
    ("five eighths", 0.625),
    ("one third", 1 / 3),
    ("two thirds", 2 / 3),
    ("fifteen sixteenths", 15 / 16),
    ("minus five", -5),
    ("negative two point five", -2.5),
    ("plus five", 5),
    ("minus a hundred and ten", -110),
    ("0.002", 0.002),
    (".002", 0.002),
    ("0,02", 0.02),
    ("2 thousand", 2000),
    ("1.5 thousand", 1500),
    ("2 hundred", 200),
    ("2 and a half", 2.5),
    ("1/2", 0.5),
    ("5 1/2", 5.5),
    ("½", 0.5),
    ("2½", 2.5),
    ("-5", -5),
    ("15k", 15000),
]


@pytest.mark.parametrize(("said", "value"), SAID, ids=[said for said, _ in SAID])
def test_a_number_as_people_say_it(said: str, value: float) -> None:
    tokens = said.split()
    number = parse_number(tokens, 0)
    assert number is not None and number.end == len(tokens) and number.value == value


def test_thousands_and_decimal_commas() -> None:
    for token, value in [("7,200", 7200), ("1,234,567", 1234567), ("14,200.5", 14200.5), ("0,002", 0.002)]:
        number = parse_number([token], 0)
        assert number is not None and number.value == value, token


DIGITS = [
    ("zero four zero seven", "0407", 407),
    ("oh four oh seven", "0407", 407),
    ("oh five", "05", 5),
    ("double four seven", "447", 447),
    ("triple nine", "999", 999),
    ("treble two one", "2221", 2221),
    ("double oh seven", "007", 7),
    ("one two three", "123", 123),
    ("forty seven oh five", "4705", 4705),
    ("four seven twelve", "4712", 4712),
    ("one twenty", "120", 120),
    ("three oh five", "305", 305),
    ("0407", "0407", 407),
    ("0 4 0 7", "0407", 407),
]


@pytest.mark.parametrize(("said", "digits", "value"), DIGITS, ids=[row[0] for row in DIGITS])
def test_the_digits_of_a_serial_number_keep_their_zeros(said: str, digits: str, value: int) -> None:
    number = whole(said)
    assert (number.digits, number.value) == (digits, value)


YEARS = [
    ("nineteen ninety eight", 1998),
    ("twenty eleven", 2011),
    ("twenty oh eight", 2008),
    ("two thousand and eight", 2008),
    ("two thousand", 2000),
    ("nineteen hundred", 1900),
    ("twenty twenty one", 2021),
    ("2008", 2008),
    ("eighteen fifty", None),
    ("one twenty", None),
    ("twenty two hundred", None),
    ("2,500", None),
]


@pytest.mark.parametrize(("said", "year"), YEARS, ids=[row[0] for row in YEARS])
def test_a_number_that_may_be_a_year_says_so(said: str, year: int | None) -> None:
    number = parse_number(said.split(), 0)
    assert number is not None and number.year == year


RANGES = [
    ("two or three", 2, 3),
    ("ten to fifteen", 10, 15),
    ("from ten to fifteen", 10, 15),
    ("between five and seven", 5, 7),
    ("between one hundred and two hundred", 100, 200),
    ("between one hundred and twenty and one hundred and forty", 120, 140),
    ("two to three thousand", 2000, 3000),
    ("five or six hundred", 500, 600),
    ("a hundred to two thousand", 100, 2000),
    ("zero to two thousand", 0, 2000),
    ("minus five to plus five", -5, 5),
    ("minus five to minus two", -5, -2),
    ("one and a half to two", 1.5, 2),
    ("point five to one point five", 0.5, 1.5),
    ("2 to 3", 2, 3),
    ("about two or three", 2, 3),
]


@pytest.mark.parametrize(("said", "low", "high"), RANGES, ids=[row[0] for row in RANGES])
def test_a_range_has_its_ends_and_its_middle(said: str, low: float, high: float) -> None:
    number = whole(said)
    assert (number.kind, number.low, number.high) == ("range", low, high)
    assert number.value == pytest.approx((low + high) / 2)


@pytest.mark.parametrize("said", ["two to one", "five or five", "three to two thousandths"])
def test_a_range_rises(said: str) -> None:
    number = parse_number(said.split(), 0)
    assert number is not None and number.kind != "range" and number.end == 1


@pytest.mark.parametrize(
    ("said", "low", "high"),
    [("plus or minus two", -2, 2), ("±5", -5, 5), ("± 5", -5, 5), ("five plus or minus two", 3, 7)],
)
def test_plus_or_minus(said: str, low: float, high: float) -> None:
    number = whole(said)
    assert (number.kind, number.low, number.high) == ("plus_minus", low, high)
    assert [found.kind for found in find_numbers(said.split())] == ["plus_minus"]


HEDGED = [
    ("about fifty", "~", True),
    ("roughly two thousand", "~", True),
    ("around a hundred", "~", True),
    ("fifty or so", "~", True),
    ("fifty odd", "~", True),
    ("under two", "<", False),
    ("less than two", "<", False),
    ("no more than two", "<", False),
    ("at most five", "<", False),
    ("up to two thousand", "<", False),
    ("over fifty", ">", False),
    ("more than fifty", ">", False),
    ("at least five", ">", False),
    ("no less than five", ">", False),
    ("fifty or more", ">", False),
    ("a couple", None, True),
    ("fifty", None, False),
]


@pytest.mark.parametrize(("said", "comparator", "approximate"), HEDGED, ids=[row[0] for row in HEDGED])
def test_hedges_are_taken_from_either_side(said: str, comparator: str | None, approximate: bool) -> None:
    number = whole(said)
    assert (number.comparator, number.approximate) == (comparator, approximate)
    assert find_numbers(words(said)) == [number]


FOUND = [
    ("this one is fine", []),
    ("one of the jaws", []),
    ("the other one is worn", []),
    ("no one knows", []),
    ("one jaw is cracked", []),
    ("oh one of the jaws", []),
    ("oh two of them are bent", [2]),
    ("point taken", []),
    ("at that point two jaws were off", [2]),
    ("at this point five are left", [5]),
    ("half the jaws", []),
    ("half of the jaws", []),
    ("quarter of the jaws", []),
    ("second gear", []),
    ("first time", []),
    ("a third jaw", [3]),
    ("a couple of dents", [2]),
    ("they couple to the shaft", []),
    ("a jaw and a half", [0.5]),
    ("no", []),
    ("", []),
    ("station one", [1]),
    ("number one", [1]),
    ("one micron", [1]),
    ("only one thou", [1]),
    ("the one twenty psi", [120]),
    ("the other one two jaws up", [2]),
    ("the one two jaws up", [2]),
    ("one hundred hours", [100]),
    ("one or two dents", [1.5]),
    ("fourteen two", [14, 2]),
    ("growls above two thousand", [2000]),
    ("one hundred two hundred three hundred", [100, 200, 300]),
    ("seventh station", [7]),
    ("tool seven has two chips and tool nine has three", [7, 2, 9, 3]),
    ("18/16/13", []),
    ("1/0", []),
    ("ten and twenty", [10, 20]),
]


@pytest.mark.parametrize(("said", "values"), FOUND, ids=[row[0] or "nothing" for row in FOUND])
def test_numbers_in_running_speech(said: str, values: list[float]) -> None:
    assert [number.value for number in find_numbers(said.split())] == values


def test_a_found_number_says_where_it_stands() -> None:
    tokens = ["it", "growls", "at", "about", "two", "thousand", "two", "hundred", "or", "so", "and", "stops"]
    (number,) = find_numbers(tokens)
    assert (number.start, number.text) == (3, "about two thousand two hundred")
    assert tokens[number.start : number.end] == number.text.split()


def test_parse_number_takes_a_lone_one_that_its_caller_asked_for() -> None:
    assert whole("one").value == 1
    assert parse_number(["jaw"], 0) is None
    assert parse_number(["one"], 1) is None
    assert parse_number([], 0) is None


@pytest.mark.parametrize(
    ("said", "value"),
    [
        ("seventh", 7),
        ("twenty first", 21),
        ("one hundred and second", 102),
        ("7th", 7),
        ("two thousandth", 2000),
    ],
)
def test_ordinals(said: str, value: int) -> None:
    assert (whole(said).kind, whole(said).value) == ("ordinal", value)


# --- said by num2words, read back -------------------------------------------------------------------------


def spread() -> list[int]:
    picked = random.Random(20240607)
    return [picked.randrange(2001, 10 ** picked.randrange(4, 10)) for _ in range(1500)] + [
        10_000,
        100_000,
        1_000_000,
        1_000_001,
        10_000_010,
        100_000_100,
        999_999_999,
    ]


@pytest.mark.parametrize("lang", ["en", "en_GB"])
def test_cardinals_said_by_num2words_read_back(lang: str) -> None:
    wrong = [n for n in [*range(2001), *spread()] if whole(num2words(n, lang=lang)).value != n]
    assert wrong == []


def test_cardinals_read_back_without_and() -> None:
    said = {n: num2words(n).replace(" and ", " ") for n in [*range(2001), *spread()]}
    assert [n for n, text in said.items() if whole(text).value != n] == []


@pytest.mark.parametrize("lang", ["en", "en_GB"])
def test_ordinals_said_by_num2words_read_back(lang: str) -> None:
    wrong = []
    for n in [*range(1, 2001), *spread()[:300]]:
        number = whole(num2words(n, to="ordinal", lang=lang))
        if (number.kind, number.value) != ("ordinal", n):
            wrong.append(n)
    assert wrong == []


def test_years_said_by_num2words_read_back() -> None:
    for year in range(1900, 2100):
        assert whole(num2words(year, to="year")).year == year
    assert [y for y in range(1001, 1900) if whole(num2words(y, to="year")).value != y] == []


def test_decimals_said_by_num2words_read_back() -> None:
    picked = random.Random(7)
    for _ in range(500):
        value = round(picked.uniform(-2000, 2000), picked.randrange(1, 5))
        assert whole(num2words(value)).value == value


@given(st.integers(-999_999_999, 999_999_999))
def test_any_whole_number_reads_back(n: int) -> None:
    assert whole(num2words(n)).value == n


@given(st.text("0123456789", min_size=2, max_size=12), st.sampled_from(["oh", "zero", "nought"]))
def test_any_string_of_digits_reads_back(digits: str, nought: str) -> None:
    said = [nought if digit == "0" else num2words(int(digit)) for digit in digits]
    number = parse_number(said, 0)
    assert number is not None and (number.digits, number.end) == (digits, len(said))


def vocabulary() -> list[str]:
    lex = lexicon()
    phrases = [
        *lex.before_first,
        *lex.before_last,
        *lex.after_first,
        *lex.units,
        "half",
        "to",
        "between",
        "plus",
    ]
    return sorted(
        {*lex.starters, *phrases, "and", "of", "minus", "jaw", "0.5", "±", "1/2", "7,200", "½", "0", "9k"}
    )


@settings(max_examples=400)
@given(st.lists(st.sampled_from(vocabulary()) | st.text(max_size=5), max_size=14))
def test_no_words_break_it_and_no_two_numbers_overlap(tokens: list[str]) -> None:
    end = 0
    for number in find_numbers(tokens):
        assert end <= number.start < number.end <= len(tokens)
        assert number.low is None or number.high is None or number.low <= number.value <= number.high
        assert number.text == " ".join(tokens[number.start : number.end])
        end = number.end
    for start in range(len(tokens)):
        parsed = parse_number(tokens, start)
        assert parsed is None or (parsed.start == start and start < parsed.end <= len(tokens))


def test_endless_digits_are_cut_and_not_an_error() -> None:
    for word in ("nine", "double", "hundred", "million", "9", "9" * 400, "twenty", "ninety"):
        find_numbers([word] * 500)
        find_numbers([word, "nine"] * 500)
