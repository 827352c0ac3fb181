"""Each way in that was tried, and each answer that was sent: what it gets, and that nothing else was written."""

import io

import pytest
from PIL import Image

from alignment.errors import FileError
from alignment.phone import photos
from alignment.phone.guard import HEADERS, Role
from alignment.show.words.phone import FAILED, refusal
from tests.phone.conftest import HOST

READ = {"kind": "read", "section": "operator-1", "point": "entry", "base": "18", "part": "3/8", "mark": "", "id": "a1"}
WAYS = ["/", "/state", "/picture.svg?row=operator"]
JPEG = bytes.fromhex(
    "ffd8ffe000104a46494600010100000100010000ffdb004300"
    + "01" * 64
    + "ffc0000b080001000101011100ffc4001f00000105010101"
    "01010100000000000000000102030405060708090a0bffc400b5100002010303020403050504040000017d010203000411051221314106135161"
    "07227114328191a1082342b1c11552d1f02433627282090a161718191a25262728292a3435363738393a434445464748494a535455565758595a"
    "636465666768696a737475767778797a838485868788898a92939495969798999aa2a3a4a5a6a7a8a9aab2b3b4b5b6b7b8b9bac2c3c4c5c6c7c8"
    "c9cad2d3d4d5d6d7d8d9dae1e2e3e4e5e6e7e8e9eaf1f2f3f4f5f6f7f8f9faffda0008010100003f00fbfeffd9"
)


def rows(log):
    return log.read_text().splitlines()[1:] if log.exists() else []


@pytest.mark.parametrize("way", WAYS)
def test_no_key_no_page(visit, way):
    told = visit(None).get(way)
    assert told.status_code == 403
    assert "operator" not in told.text


@pytest.mark.parametrize("way", ["/answer", "/photo?id=x"])
@pytest.mark.parametrize("role", [None, Role.reader])
def test_only_a_writer_writes(visit, log, way, role):
    assert visit(role).post(way, READ).status_code == 403
    assert not log.exists()


def test_a_reader_sees_the_page_without_a_key_to_tap(visit):
    told = visit(Role.reader).get()
    assert told.status_code == 200
    assert "operator-1" in told.text
    assert "<form" not in told.text


@pytest.mark.parametrize("role", Role)
def test_the_key_in_the_address_becomes_a_cookie(visit, guard, role):
    key = guard.writer if role is Role.writer else guard.reader
    told = visit(None).get(f"/?key={key}")
    assert told.status_code == 200
    cookie = told.headers["set-cookie"]
    assert guard.cookie_for(role) in cookie
    assert key not in cookie
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    assert key not in told.text


@pytest.mark.parametrize("key", ["", "x", "%00", "%D0%BA", "x" * 5000])
def test_a_wrong_key_is_none(visit, key):
    told = visit(None).get(f"/?key={key}")
    assert told.status_code == 403
    assert "set-cookie" not in told.headers


@pytest.mark.parametrize("host", ["evil.example", "evil.example:8000", "127.0.0.1:8001", f"{HOST}.evil.example", ""])
@pytest.mark.parametrize("way", [*WAYS, "/static/phone.js"])
def test_a_foreign_host_is_sent_away(visit, host, way):
    """A name that somebody makes point here (DNS rebinding) is not one of ours."""
    assert visit().get(way, host=host).status_code == 421


@pytest.mark.parametrize("origin", [None, "null", "http://evil.example", "https://" + HOST, "http://127.0.0.1:9000"])
@pytest.mark.parametrize("way", ["/answer", "/photo?id=x"])
def test_a_post_from_another_page_is_refused(visit, log, origin, way):
    assert visit().post(way, READ, origin=origin).status_code == 403
    assert not log.exists()


@pytest.mark.parametrize("way", ["/", "/state", "/static/phone.css", "/nothing", "/?key=x"])
def test_every_answer_carries_the_headers(visit, way):
    told = visit().get(way)
    for name, value in HEADERS.items():
        assert told.headers[name] == value
    assert "server" not in told.headers


@pytest.mark.parametrize(
    "way",
    ["/static/../guard.py", "/static/%2e%2e/guard.py", "/static/..%2f..%2fpyproject.toml", "/static/", "/static/x"],
)
def test_no_other_file_is_served(visit, way):
    assert visit().get(way).status_code == 404


def test_a_reading_is_on_disk_when_it_is_said_to_be(visit, log):
    told = visit().post(data=READ)
    assert told.status_code == 200
    assert told.json()["saved"] == "saved"
    assert [row.split(",")[:4] for row in rows(log)] == [["operator-1", "entry", "18 3/8", ""]]


def test_without_a_script_the_page_comes_back(visit, log):
    told = visit().post(data=READ, accept="text/html")
    assert told.status_code == 303
    assert told.headers["location"] == "/"
    assert len(rows(log)) == 1


def test_sent_again_it_is_taken_once(visit, log):
    for _ in range(3):
        told = visit().post(data=READ)
        assert told.status_code == 200
    assert told.json()["saved"] == "again"
    assert len(rows(log)) == 1


@pytest.mark.parametrize(
    ("more", "reading"),
    [({"mark": "+"}, "18 3/8+"), ({"mark": "-"}, "18 3/8-"), ({"part": "0"}, "18"), ({"base": "19"}, "19 3/8"),
     ({"part": "typed", "typed": "18.375"}, "18.375")],
)  # fmt: skip
def test_what_is_tapped_is_written_as_a_person_would(visit, log, more, reading):
    visit().post(data=READ | more)
    assert rows(log)[0].split(",")[2] == reading


@pytest.mark.parametrize(
    "more",
    [{"section": "nobody"}, {"point": "../x"}, {"part": "9/8"}, {"base": "eighteen"}, {"kind": "drop"}, {"kind": ""},
     {"part": "typed", "typed": ""}, {"section": "operator-1\n# by: me"}, {"part": "typed", "typed": "1' 99"},
     {"kind": "move"}, {"kind": "move", "stop-entry": "x"}],
)  # fmt: skip
def test_what_cannot_be_used_is_said_and_not_written(visit, log, more):
    told = visit().post(data=READ | more)
    assert told.status_code == 422
    assert told.json()["message"]
    assert rows(log) == []


@pytest.mark.parametrize(
    ("body", "status"),
    [(b"", 422), (b"\xff\xfe\x00", 422), (b"a" * 4097, 413), (b"a=1&" * 500, 400), (b"{\"kind\": \"read\"}", 422),
     (b"kind=read&section=%00&point=entry&part=1/2", 422)],
)  # fmt: skip
def test_bad_bodies_are_refused(visit, log, body, status):
    assert visit().post(data=body).status_code == status
    assert not log.exists()


@pytest.mark.parametrize("own", ["a\x00b", "a\nb", 'a "b', "  a  b ", "a\u2028b"])
def test_an_id_is_kept_as_a_file_of_text_can_hold_it(visit, log, own):
    """The log stays one that can be read, and what is sent again under the same id is taken once."""
    assert [visit().post(data=READ | {"id": own}).json()["saved"] for _ in range(2)] == ["saved", "again"]
    assert len(rows(log)) == 1
    assert b"\x00" not in log.read_bytes()
    assert visit().get().status_code == 200


def test_a_move_is_a_row_for_each_end(visit, log):
    for point in ("entry", "exit"):
        visit().post(data=READ | {"point": point, "id": point})
    move = {"kind": "move", "section": "operator-1", "stop-entry": "18 3/8", "stop-exit": "18 3/8", "id": "m"}
    assert visit().post(data=move).status_code == 200
    assert [row.split(",")[1:4] for row in rows(log)[2:]] == [["entry", "18 3/8", "move"], ["exit", "18 3/8", "move"]]


def test_back_takes_the_last_row(visit, log):
    visit().post(data=READ)
    visit().post(data=READ | {"point": "exit", "id": "b2"})
    assert visit().post(data={"kind": "back", "id": "c3"}).status_code == 200
    assert [row.split(",")[1] for row in rows(log)] == ["entry"]


def version(visit):
    return visit().get("/state").json()["version"]


def test_two_phones_see_each_other_and_a_conflict_is_shown(visit, log):
    """Both drew the page of an empty log; both read the entry end of operator-1."""
    drawn = version(visit)
    assert visit().post(data=READ | {"version": drawn, "page": "one"}).status_code == 200
    assert version(visit) != drawn
    other = READ | {"part": "7/16", "version": drawn, "page": "two", "id": "b2"}
    told = visit().post(data=other)
    assert told.status_code == 409
    assert told.json()["message"] == (
        "operator-1 was changed meanwhile: entry read 18 3/8. Your answer, entry read 18 7/16, is not saved yet."
    )
    assert len(rows(log)) == 1
    page = visit().post(data=other, accept="text/html")
    assert "Save mine too" in page.text
    assert visit().post(data=other | {"anyway": "1"}).status_code == 200
    assert len(rows(log)) == 2


def test_another_point_is_no_conflict(visit, log):
    drawn = version(visit)
    visit().post(data=READ | {"version": drawn, "page": "one"})
    assert visit().post(data=READ | {"point": "exit", "version": drawn, "page": "two", "id": "b2"}).status_code == 200


def test_back_is_a_conflict_when_somebody_wrote_since(visit, log):
    visit().post(data=READ)
    drawn = version(visit)
    visit().post(data=READ | {"point": "exit", "id": "b2", "page": "two"})
    assert visit().post(data={"kind": "back", "id": "c3", "version": drawn, "page": "one"}).status_code == 409
    assert len(rows(log)) == 2


def test_a_log_that_is_spoiled_meanwhile_is_said(visit, log):
    visit().post(data=READ)
    log.write_text("section,point,reading\noperator-1,entry,nonsense\n")
    assert visit().get().status_code == 503
    told = visit().post(data=READ | {"id": "b2"})
    assert told.status_code in (422, 503)
    assert log.read_text() == "section,point,reading\noperator-1,entry,nonsense\n"


def test_a_photograph_lies_beside_the_log_under_a_name_of_ours(visit, log):
    visit().post(data=READ)
    told = visit().post("/photo?id=p1", JPEG)
    assert told.status_code == 200
    assert (log.parent / "job-photo-001.jpg").read_bytes() == JPEG
    again = visit().post("/photo?id=p1", JPEG)
    assert again.json()["saved"] == "again"
    assert sorted(p.name for p in log.parent.iterdir()) == ["job-photo-001.jpg", "job.csv"]
    assert "photo,sha256" in log.read_text().splitlines()[0]


def test_the_ten_thousandth_photograph_is_refused(log, monkeypatch):
    """Beside 9,998 others one more is kept; beside 9,999 none, and another log is asked for."""
    free = [9999]
    monkeypatch.setattr(photos.Path, "exists", lambda path: path.stem not in {f"job-photo-{n:03}" for n in free})
    monkeypatch.setattr(photos.Path, "read_bytes", lambda _: b"another")
    assert photos.keep(JPEG, log).name == "job-photo-9999.jpg"
    free.clear()
    with pytest.raises(FileError, match="has 9999 photographs already"):
        photos.keep(JPEG, log)
    assert [p.name for p in log.parent.iterdir()] == ["job-photo-9999.jpg"]


def test_a_photograph_by_a_form(visit, log):
    visit().post(data=READ)
    client = visit()
    told = client.client.post(
        "/photo?id=p1",
        files={"photo": ("../../evil.php", JPEG, "image/jpeg")},
        headers={"origin": f"http://{HOST}", "accept": "application/json"},
    )
    assert told.status_code == 200
    assert (log.parent / "job-photo-001.jpg").exists()


@pytest.mark.parametrize(
    "data", [b"", b"GIF89a" + b"\0" * 50, b"<svg/>", JPEG[:40], b"%PDF-1.7", b"section,point,reading\n"]
)
def test_only_photographs_are_kept(visit, log, data):
    visit().post(data=READ)
    assert visit().post("/photo?id=p1", data).status_code == 422
    assert [p.name for p in log.parent.iterdir()] == ["job.csv"]


def test_a_photograph_too_large_is_refused(visit, log):
    visit().post(data=READ)
    assert visit().post("/photo?id=p1", JPEG + b"\0" * 12_000_000).status_code == 413
    assert [p.name for p in log.parent.iterdir()] == ["job.csv"]


@pytest.mark.parametrize(("size", "status"), [((10_000, 8_900), 200), ((10_000, 9_000), 422)])
def test_a_picture_of_too_many_points_is_refused(visit, log, size, status):
    """A file of some kilobytes may unpack to gigabytes."""
    out = io.BytesIO()
    Image.new("1", size).save(out, "PNG")
    visit().post(data=READ)
    assert visit().post("/photo?id=p1", out.getvalue()).status_code == status


def test_photographs_of_one_log_are_counted(log, monkeypatch):
    monkeypatch.setattr(photos, "MOST", 2)
    for number in (1, 2):
        assert photos.keep(JPEG + bytes([number]), log).name == f"job-photo-00{number}.jpg"
    assert photos.keep(JPEG + bytes([2]), log).name == "job-photo-002.jpg"
    with pytest.raises(FileError, match="has 2 photographs already"):
        photos.keep(JPEG + bytes([3]), log)


def test_a_section_is_passed_over(visit):
    page = visit().get().text
    assert 'href="/?skip=operator-1"' in page
    after = visit().get("/?skip=operator-1&skip=nobody").text
    assert 'data-section="operator-2"' in after
    assert 'data-section="operator-1"' not in after


def test_a_finished_section_is_said_to_be(visit):
    for k in range(8):
        point = ("entry", "exit")[k % 2]
        visit().post(data=READ | {"point": point, "id": f"r{k}"})
    page = visit().get().text
    assert '<p class="accepted">operator-1: OK, ' in page
    assert 'data-section="operator-2"' in page


def test_back_is_refused_where_the_log_could_not_be_read_any_more(visit, log):
    """Written by hand: a reading in the other unit is an error where it is all that is left."""
    text = "section,point,reading\noperator-1,entry,467\noperator-1,exit,18 3/8\n"
    log.write_text(text)
    told = visit().post(data={"kind": "back", "id": "b"})
    assert (told.status_code, told.json()["saved"]) == (422, "refused")
    assert "467" in told.json()["message"]
    assert log.read_text() == text


def test_a_form_that_is_none_is_refused_without_a_word_on_the_terminal(visit, log, caplog):
    visit().post(data=READ)
    body = b"--B\r\nContent-Disposition: form-data\r\n\r\nx\r\n--B\rx"
    told = visit().post("/photo?id=x", body, **{"content-type": "multipart/form-data; boundary=B"})
    assert told.status_code in (400, 422)
    assert caplog.records == []


def test_each_refusal_has_its_own_words():
    assert refusal(500) == FAILED
    told = {status: refusal(status) for status in (400, 403, 404, 413)}
    assert len({*told.values(), FAILED}) == 5
    assert refusal(405) == told[404]
    assert "Scan it again." in told[403]
