"""Splits one line of text into fields, and finds delimiter and decimal mark of a file."""

import csv
import re
import unicodedata
from collections import Counter


def plain_text(text: str) -> str:
    """Lower case, without accents, camelCase split.

    >>> plain_text("Température"), plain_text("relHumidity")
    ('temperature', 'rel humidity')
    """
    parted = re.sub(r"(?<=[a-z])(?=[A-Z][a-z])", " ", text.strip().replace("µ", "u").replace("μ", "u"))
    if parted.isascii():
        return parted.lower()
    bare = unicodedata.normalize("NFKD", parted)
    return "".join(character for character in bare if not unicodedata.combining(character)).lower()


DELIMITERS = ("\t", ";", "|", ",")  # the comma last, because it is also a decimal mark
SPACES = " "
DELIMITER_NAMES = {"\t": "tab", ";": "semicolon", "|": "bar", ",": "comma", SPACES: "spaces"}

_COMMA_NUMBER = re.compile(r"[-+]?\d+,\d+(?:[eE][-+]?\d+)?")
_POINT_NUMBER = re.compile(r"[-+]?\d*\.\d+(?:[eE][-+]?\d+)?")


def split_line(line: str, delimiter: str) -> list[str]:
    """The fields of a line, without quotation marks and outer spaces.

    >>> split_line('"a, b",2, ', ",")
    ['a, b', '2', '']
    """
    if delimiter == SPACES:
        return line.split()
    if '"' in line:
        try:
            return [field.strip() for field in next(csv.reader([line], delimiter=delimiter, strict=False), [])]
        except csv.Error:  # a field longer than the library allows
            return [field.strip(' "') for field in line.split(delimiter)]
    return [field.strip() for field in line.split(delimiter)]


def number_of_fields(line: str, delimiter: str) -> int:
    """How many fields a line has, without splitting it where that can be avoided."""
    if delimiter == SPACES or '"' in line:
        return len(split_line(line, delimiter))
    return line.count(delimiter) + 1


def sample_lines(lines: list[str], most: int = 300) -> list[str]:
    """Lines that are not blank: two thirds of the sample from the top, the rest spread over the file."""
    top = [line for line in lines[: most * 2] if line.strip()][: most * 2 // 3]
    step = max(1, len(lines) // (most // 3))
    return top + [line for line in lines[most * 2 :: step] if line.strip()][: most // 3]


def find_delimiter(lines: list[str]) -> str | None:
    """The delimiter that splits most lines of the table into the same number of fields, or None.

    >>> find_delimiter(["a preamble, with words", "time;pm", "10:00;1,5", "10:01;1,4"])
    ';'
    """
    sample = [line[:20_000] for line in sample_lines(lines)]
    tail = sample[len(sample) // 3 :]  # preamble lines are at the top
    for part in (tail, tail[-max(3, len(tail) // 4) :]):
        for delimiter in (*DELIMITERS, SPACES):
            counts = Counter(number_of_fields(line, delimiter) for line in part)
            fields, lines_with = max(counts.items(), key=lambda item: (item[0] > 1, item[1]), default=(0, 0))
            if fields > 1 and lines_with >= 0.6 * len(part):
                return delimiter
    for delimiter in DELIMITERS:
        if sum(delimiter in line for line in tail) >= max(1, len(tail) // 2):
            return delimiter
    return None


def find_decimal_mark(cells: list[str], delimiter: str) -> str:
    r"""The decimal mark of the cells: a comma only if numbers contain commas and no points.

    >>> find_decimal_mark(["12,5", "3"], ";"), find_decimal_mark(["1,250", "3.5"], "\t")
    (',', '.')
    """
    commas = [cell for cell in cells if _COMMA_NUMBER.fullmatch(cell)]
    points = sum(_POINT_NUMBER.fullmatch(cell) is not None for cell in cells)
    if len(commas) <= points:
        return "."
    if delimiter == "," and all(re.fullmatch(r"[-+]?[1-9]\d{0,2},\d{3}", cell) for cell in commas):
        return "."  # quoted "1,250" in a comma-separated file is one thousand two hundred and fifty
    return ","
