"""What kind of file the bytes are, whatever the name says; files that hold no table are refused here."""

from app.reading_files.refusals import refusal

NEVER_IN_TEXT = bytes([*range(1, 9), *range(14, 32)])
LARGEST_FILE_BYTES = 256 * 1024 * 1024

_EXPORT = "Export the log as CSV, tab-separated text or XLSX and give that file."
_OTHER_KINDS = (
    (b"%PDF", "a PDF document"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"BZh", "a bzip2 archive"),
    (b"7z\xbc\xaf", "a 7z archive"),
    (b"\xfd7zXZ", "an xz archive"),
    (b"\x28\xb5\x2f\xfd", "a zstd archive"),
    (b"Rar!", "a rar archive"),
    (b"\xd0\xcf\x11\xe0", "an old binary spreadsheet (XLS)"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"RIFF", "a sound or picture file"),
    (b"fLaC", "a sound file"),
    (b"ID3", "a sound file"),
    (b"OggS", "a sound file"),
    (b"SQLite format 3\x00", "a database"),
    (b"PAR1", "a parquet file"),
    (b"\x89HDF", "an HDF5 file"),
    (b"\x7fELF", "a program"),
    (b"{\\rtf", "a word-processor document"),
)


def refuse_large_file(size_bytes: int, file_name: str) -> None:
    """Raises UnreadableLog for more bytes than are read; whoever knows the size asks before filling the memory."""
    if size_bytes > LARGEST_FILE_BYTES:
        raise refusal(
            file_name,
            f"The file has {size_bytes / 1024**2:.0f} MB; at most {LARGEST_FILE_BYTES / 1024**2:.0f} MB are read.",
            "Cut the log to the hours of the trial.",
        )


def is_worksheet_file(content: bytes, file_name: str) -> bool:
    """Whether the file is a workbook (XLSX); False for text. Everything else is refused."""
    if not content.strip(b" \t\r\n\x00\xef\xbb\xbf\xff\xfe"):
        raise refusal(
            file_name, "The file is empty.", "A table with a row for each time is needed: export the log again."
        )
    refuse_large_file(len(content), file_name)
    if content.startswith(b"PK\x03\x04"):
        return True
    for mark, what in _OTHER_KINDS:
        if content.startswith(mark):
            raise refusal(file_name, f"The file is {what}, not a table.", _EXPORT, line=1)
    start = content[:2000].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if start.startswith((b"<!doctype", b"<html", b"<?xml", b"<svg")):
        raise refusal(
            file_name, "The file is a web page or XML, not a table.", _EXPORT, line=1, text=_first_text(content)
        )
    if start.startswith((b"{", b"[{")):
        raise refusal(file_name, "The file is JSON, not a table.", _EXPORT, line=1, text=_first_text(content))
    sample = content[:8000]
    odd = len(sample) - len(sample.translate(None, NEVER_IN_TEXT))
    if odd > 0.1 * len(sample):
        raise refusal(file_name, "The file holds bytes that are no text.", _EXPORT, line=1)
    return False


def _first_text(content: bytes) -> str:
    return content[:200].decode("utf-8", "replace").strip().split("\n")[0]
