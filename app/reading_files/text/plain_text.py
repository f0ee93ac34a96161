"""Header texts in the form in which words are compared."""

import re
import unicodedata


def plain_text(text: str) -> str:
    """Lower case, without accents, camelCase parted.

    >>> plain_text("Température"), plain_text("relHumidity")
    ('temperature', 'rel humidity')
    """
    parted = re.sub(r"(?<=[a-z])(?=[A-Z][a-z])", " ", text.strip().replace("µ", "u").replace("μ", "u"))
    if parted.isascii():
        return parted.lower()
    bare = unicodedata.normalize("NFKD", parted)
    return "".join(character for character in bare if not unicodedata.combining(character)).lower()
