"""A word is found in a text wherever Python's own lower() would let it be found, on every kind of store."""

import sys

import pytest
from sqlalchemy import Engine, literal, select

from app.storage.words_in_columns import contains_word

TEXTS = ("", "Kitchen", "KITCHEN_1", "100% open", r"a\b", "Größe ÄÖÜ", "İstanbul", "300 \u212a", "two\nlines", "ÅRHUS")
WORDS = ("kitchen", "n_1", "n%1", "0%", "\\", "größe", "äö", "stanbul", "i", "k", "lines", "århus", "e")


@pytest.mark.parametrize("word", WORDS)
def test_a_word_is_found_in_the_texts_that_hold_it(store: Engine, word: str):
    # a server's own lower() knows the capitals of its locale, and those of ASCII wherever it is
    texts = TEXTS if store.dialect.name == "sqlite" else tuple(text for text in TEXTS if text.isascii())
    with store.connect() as connection:
        found = [text for text in texts if connection.scalar(select(1).where(contains_word(literal(text), word)))]
    assert found == [text for text in texts if word in text.lower()]


def test_a_column_of_numbers_is_looked_through_as_text(store: Engine):
    with store.connect() as connection:
        assert connection.scalar(select(1).where(contains_word(literal(1234), "23"))) == 1
        assert connection.scalar(select(1).where(contains_word(literal(1234), "32"))) is None


def test_two_letters_beyond_ascii_alone_have_small_ones_within(store: Engine):
    """What the store's own LIKE, which knows the capitals from A to Z, would miss (str.lower of this Python)."""
    small = {chr(code): chr(code).lower() for code in range(128, sys.maxunicode + 1)}
    within = {letter: small[letter] for letter in small if any(sign.isascii() for sign in small[letter])}
    assert within == {"\u0130": "i\u0307", "\u212a": "k"}
