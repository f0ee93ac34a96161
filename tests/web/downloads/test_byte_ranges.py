import pytest

from app.web.downloads.byte_ranges import ranged_answer

CONTENT = bytes(range(10))


def answer(asked):
    return ranged_answer(CONTENT, "audio/wav", asked, {"ETag": '"x"'})


@pytest.mark.parametrize("asked", [None, "", "bytes=-", "bytes=0-1,4-5", "items=0-3", "nonsense"])
def test_without_one_readable_range_the_whole_is_sent(asked):
    sent = answer(asked)
    assert (sent.status_code, sent.body) == (200, CONTENT)
    assert sent.headers["accept-ranges"] == "bytes"
    assert sent.headers["etag"] == '"x"'


@pytest.mark.parametrize(
    ("asked", "body", "told"),
    [
        ("bytes=0-3", CONTENT[0:4], "bytes 0-3/10"),
        ("bytes=7-", CONTENT[7:], "bytes 7-9/10"),
        ("bytes=-2", CONTENT[-2:], "bytes 8-9/10"),
        ("bytes=5-500", CONTENT[5:], "bytes 5-9/10"),
        ("bytes=-500", CONTENT, "bytes 0-9/10"),
    ],
)
def test_a_range_is_sent_as_part(asked, body, told):
    """RFC 9110, 14.1.2 and 14.4."""
    sent = answer(asked)
    assert (sent.status_code, sent.body, sent.headers["content-range"]) == (206, body, told)


@pytest.mark.parametrize("asked", ["bytes=10-", "bytes=5-2", "bytes=-0"])
def test_a_range_outside_is_refused(asked):
    sent = answer(asked)
    assert (sent.status_code, sent.headers["content-range"]) == (416, "bytes */10")
