"""The ways in which dates, times, zones and elapsed times are written."""

import re

MONTHS = {
    **dict.fromkeys(("jan", "january", "januar", "janvier", "janv", "enero", "ene", "gennaio", "januari"), 1),
    **dict.fromkeys(("feb", "february", "februar", "fevrier", "fevr", "fev", "febrero", "februari"), 2),
    **dict.fromkeys(("mar", "march", "marz", "mars", "marzo", "maart", "mrz", "mrt", "marts"), 3),
    **dict.fromkeys(("apr", "april", "avril", "avr", "abril", "abr", "aprile"), 4),
    **dict.fromkeys(("may", "mai", "mayo", "maggio", "mei", "maj"), 5),
    **dict.fromkeys(("jun", "june", "juni", "juin", "junio", "giugno"), 6),
    **dict.fromkeys(("jul", "july", "juli", "juil", "juillet", "julio", "luglio"), 7),
    **dict.fromkeys(("aug", "august", "aout", "agosto", "ago", "augustus"), 8),
    **dict.fromkeys(("sep", "sept", "september", "septembre", "septiembre", "settembre"), 9),
    **dict.fromkeys(("oct", "october", "oktober", "okt", "octobre", "octubre", "ottobre"), 10),
    **dict.fromkeys(("nov", "november", "novembre", "noviembre"), 11),
    **dict.fromkeys(("dec", "december", "dezember", "dez", "decembre", "diciembre", "dic", "dicembre"), 12),
}
ZONE_HOURS = {
    **{"z": 0.0, "utc": 0.0, "gmt": 0.0, "cet": 1.0, "cest": 2.0, "eet": 2.0, "eest": 3.0},
    **{"est": -5.0, "edt": -4.0, "cdt": -5.0, "mst": -7.0, "mdt": -6.0, "pst": -8.0, "pdt": -7.0, "jst": 9.0},
}

_SEP = r"[-/.\s]"
_DATE = "|".join(
    (
        rf"(?P<year>\d{{4}}){_SEP}(?P<month>\d{{1,2}}){_SEP}(?P<day>\d{{1,2}})\.?",
        rf"(?P<first>\d{{1,2}}){_SEP}\s?(?P<second>\d{{1,2}}){_SEP}\s?(?P<lastyear>\d{{4}}|\d{{2}})",
        r"(?P<nday>\d{1,2})(?:st|nd|rd|th)?\.?[-/.\s]*(?P<nmonth>[a-z]{3,10})\.?[-/.,\s]*(?P<nyear>\d{4}|\d{2})",
        r"(?P<mmonth>[a-z]{3,10})\.?\s+(?P<mday>\d{1,2})(?:st|nd|rd|th)?,?\s+(?P<myear>\d{4})",
        rf"(?P<yyear>\d{{4}}){_SEP}(?P<ymonth>[a-z]{{3,10}}){_SEP}(?P<yday>\d{{1,2}})",
        r"(?P<cyear>\d{4})(?P<cmonth>\d{2})(?P<cday>\d{2})",
    )
)
_TIME = (
    r"(?P<hour>\d{1,2})[:h](?P<minute>\d{2})(?:[:m](?P<second_of>\d{2})(?:[.,:](?P<fraction>\d{1,9}))?s?)?"
    r"(?:\s*(?P<half>[ap])\.?\s?m\.?)?"
)
_COMPACT_TIME = r"(?P<khour>\d{2})(?P<kminute>\d{2})(?P<ksecond>\d{2})?"
_ZONE = r"\s*(?:(?P<zsign>[+-])(?P<zhour>\d{2}):?(?P<zminute>\d{2})?|(?P<zname>z|[a-z]{3,4}))"
_WEEKDAY = r"(?:(?:mon|tue|wed|thu|fri|sat|sun|mo|di|mi|do|fr|sa|so)[a-z]*[.,]?\s+)?"

SHAPES = tuple(
    re.compile(pattern)
    for pattern in (
        rf"{_WEEKDAY}(?:{_DATE})(?:[t,;\s_/-]\s*|\s+-\s+){_TIME}(?:{_ZONE})?",
        rf"{_WEEKDAY}(?:{_DATE})[t_\s]?{_COMPACT_TIME}(?:{_ZONE})?",
        rf"{_WEEKDAY}(?:{_DATE})",
        rf"{_TIME}(?:{_ZONE})?",
        rf"{_TIME}\s+(?:{_DATE})",
    )
)
LONG_HOURS = re.compile(
    r"(?:(?P<days>\d{1,4})[:.\s]d?\s?)?(?P<hours>\d{1,5}):(?P<minute>\d{2}):(?P<second_of>\d{2})(?:[.,](?P<fraction>\d{1,9}))?"
)
