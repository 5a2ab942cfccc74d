"""The bench as a stranger meets it: who is let in, what is too much, what never leaves its folder."""

import io
import json

import cv2
import numpy as np
import pytest
from PIL import Image
from starlette.testclient import TestClient

from mockup.bench import photos
from mockup.bench.app import create_app, page_files
from mockup.bench.blobs import Blob
from mockup.bench.document import Document
from mockup.bench.guard import HEADERS
from mockup.bench.service import Bench
from mockup.papers.choice import Choice, choice_text, seen_by_client
from mockup.papers.record import short
from mockup.render.colours import colours

PORT, TOKEN = 8731, "a-token-of-this-start"
HOME = f"http://127.0.0.1:{PORT}"
OURS = {"x-bench": "1", "origin": HOME, "x-tab": "t", "sec-fetch-site": "same-origin"}
VIEW = {"side": "front", "origin": [-20, -20], "scale": 2.0, "size": [280, 320], "look": "blue"}


@pytest.fixture(scope="module")
def bench(tmp_path_factory, board_jpeg):
    from tests.conftest import write_small

    scene = write_small(tmp_path_factory.mktemp("bench") / "pipit", board_jpeg)
    return Bench(Document.open(scene), scene.parent)


@pytest.fixture(scope="module")
def app(bench):
    app = create_app(bench, port=PORT, token=TOKEN)
    with TestClient(app, base_url=HOME) as client:
        client.get(f"/?key={TOKEN}", follow_redirects=False)
        yield client


@pytest.fixture
def stranger(bench):
    """Somebody without the cookie; the application is the same, so nothing of it is started again."""
    return TestClient(create_app(bench, port=PORT, token=TOKEN), base_url=HOME)


def problem(answer):
    return answer.json()["problems"][0]["found"]


def test_the_key_is_exchanged_for_a_cookie_that_scripts_cannot_read(stranger):
    answer = stranger.get(f"/?key={TOKEN}", follow_redirects=False)
    assert answer.status_code == 303 and answer.headers["location"] == "/"
    cookie = answer.headers["set-cookie"]
    assert "HttpOnly" in cookie and "SameSite=Strict" in cookie and TOKEN in cookie


@pytest.mark.parametrize("path", ["/", "/page/main.js", "/api/state", "/api/events", "/api/kept/x", "/?key=wrong", "/?key="])
def test_nothing_without_the_key(stranger, path):
    answer = stranger.get(path, follow_redirects=False)
    assert answer.status_code == 403 and "set-cookie" not in answer.headers


@pytest.mark.parametrize("host", ["evil.example", f"evil.example:{PORT}", "127.0.0.1", f"127.0.0.1:{PORT + 1}", f"127.0.0.1.evil.example:{PORT}", ""])
def test_a_name_pointed_here_from_elsewhere_is_refused(app, host):
    assert app.get("/api/state", headers={"host": host}).status_code == 403


@pytest.mark.parametrize("headers", [{"origin": "http://evil.example"}, {"origin": "null"}, {"sec-fetch-site": "cross-site"}, {"sec-fetch-site": "same-site"},
                                     {"x-bench": "0"}, {"origin": f"https://127.0.0.1:{PORT}"}], ids=str)
def test_another_site_cannot_ask(app, headers):
    for name in ("edit", "save", "stop", "papers", "undo"):
        assert app.post(f"/api/{name}", headers={**OURS, **headers}, json={}).status_code == 403
    assert app.put("/api/photo?name=a.png", headers={**OURS, **headers}, content=b"x").status_code == 403


def test_a_form_of_another_site_has_neither_origin_nor_header(app):
    assert app.post("/api/stop", json={}).status_code == 403
    assert app.get("/api/state", headers={"sec-fetch-site": "cross-site"}).status_code == 403


def test_every_answer_says_what_a_browser_may_do_with_it(app, stranger):
    for answer in (app.get("/"), app.get("/api/state"), app.get("/nothing"), stranger.get("/"), app.get("/page/bench.css")):
        assert {k: answer.headers[k] for k in HEADERS if k != "cache-control"} == {k: v for k, v in HEADERS.items() if k != "cache-control"}
    rule = HEADERS["content-security-policy"]
    assert "unsafe" not in rule and "http" not in rule and "data:" not in rule


def test_the_page_has_nothing_in_line_and_nothing_from_elsewhere():
    for name, (data, kind) in page_files().items():
        if kind.startswith("text"):
            text = data.decode()
            assert "http://" not in text.replace("http://www.w3.org/2000/svg", "") and "https://" not in text and "@import" not in text, name
            assert "innerHTML" not in text and "eval(" not in text and "insertAdjacent" not in text, name
    page = page_files()["index.html"][0].decode()
    assert "<style" not in page and " style=" not in page and " on" not in page.replace(" on the", "").replace(" one", "").replace(" on this", "").split("<body")[0]
    assert page.count("<script") == 1 and 'src="/page/main.js"' in page


@pytest.mark.parametrize("path", ["/page/../app.py", "/page/..%2fapp.py", "/page/%2e%2e/app.py", "/page//etc/passwd", "/api/kept/..%2f..%2fpipit.toml",
                                  "/api/wood/..%2f..%2fpipit", "/api/board/..%2fflame", "/static/x"])
def test_no_path_leads_out(app, path):
    answer = app.get(path)
    assert answer.status_code in (404, 422) and b"import" not in answer.content and b"root:" not in answer.content


def test_a_file_is_given_only_from_the_folder_of_papers(app, bench, tmp_path):
    secret = tmp_path / "secret.png"
    secret.write_bytes(b"secret")
    assert app.get(f"/api/kept/{bench.keep(Blob(b'', 'image/png', secret))}").status_code == 422
    folder = bench.folder / "papers"
    folder.mkdir(exist_ok=True)
    (folder / "link.png").symlink_to(secret)
    assert app.get(f"/api/kept/{bench.keep(Blob(b'', 'image/png', folder / 'link.png'))}").status_code == 422
    (folder / "link.png").unlink()
    (folder / "own.png").write_bytes(b"own")
    answer = app.get(f"/api/kept/{bench.keep(Blob(b'', 'image/png', folder / 'own.png'))}")
    assert answer.content == b"own" and "sandbox" in answer.headers["content-security-policy"]


@pytest.mark.parametrize("body", [b"", b"no", b"[]", b"[" * 100_000, b'{"a": NaN}', b'{"version": "x", "do": "finish"}', b'{"x": "\xff"}'], ids=lambda b: repr(b[:12]))
def test_nonsense_gets_a_sentence(app, body):
    for name in ("edit", "picture", "colour", "tilt", "places", "papers", "take", "measure", "keep", "verify"):
        if name == "take" and body[:2] == b'{"':
            continue
        answer = app.post(f"/api/{name}", headers=OURS, content=body)
        assert answer.status_code == 422 and problem(answer), name
        assert "Traceback" not in answer.text and "Error" not in answer.text


@pytest.mark.parametrize("view", [{"size": [100_000, 100_000]}, {"size": [0, 5]}, {"size": [7000, 7000]}, {"scale": 1e9}, {"scale": "2"}, {"origin": [1e5, 0]}, {"side": "inside"},
                                  {"look": "nope"}, {"try": {"top": {"sheen": 1e4}}}, {"try": {"top": {"at": [1, 2]}}}, {"try": {"top": {"steps": [{"stain": "../x"}]}}}], ids=str)
def test_a_picture_that_cannot_be_drawn(app, view):
    answer = app.post("/api/picture", headers=OURS, json={**VIEW, **view})
    assert answer.status_code == 422 and problem(answer)


def test_pictures_while_moving_and_settled(app):
    moving = app.post("/api/picture", headers=OURS, json=VIEW)
    settled = app.post("/api/picture", headers=OURS, json={**VIEW, "exact": True})
    assert moving.headers["content-type"] == "image/jpeg" and settled.headers["content-type"] == "image/png"
    a, b = (cv2.imdecode(np.frombuffer(x.content, np.uint8), 1).astype(int) for x in (moving, settled))
    assert a.shape == b.shape == (320, 280, 3)
    assert np.abs(a - b).mean() < 3
    lying = app.post("/api/picture", headers=OURS, json={**VIEW, "exact": True, "lying": True, "size": [320, 280]})
    assert cv2.imdecode(np.frombuffer(lying.content, np.uint8), 1).shape == (280, 320, 3)


# -- photographs

def jpeg(width=300, height=200):
    out = io.BytesIO()
    Image.fromarray(np.full((height, width, 3), 150, np.uint8)).save(out, "JPEG")
    return out.getvalue()


def put(app, data, name="board.jpg", **headers):
    return app.put(f"/api/photo?name={name}", headers={**OURS, **headers}, content=data)


@pytest.mark.parametrize("data, name, words", [
    (b"%PDF-1.7 and more", "photo.jpg", "PDF"), (b"only words\n" * 50, "photo.jpg", "photo.jpg"), (b"", "photo.jpg", "empty"),
    (jpeg()[:900], "photo.jpg", "photo.jpg"), (b"GIF89a" + b"x" * 100, "a.gif", "GIF"),
], ids=["a pdf", "a text called jpg", "nothing", "half a jpeg", "a gif"])
def test_what_is_no_photo(app, data, name, words):
    answer = put(app, data, name)
    assert answer.status_code == 422
    assert words in json.dumps(answer.json()), answer.json()


def test_too_many_bytes_are_refused_unread(app, monkeypatch):
    answer = put(app, b"", **{"content-length": "200000000"})
    assert answer.status_code == 422 and "larger than 120 MB" in problem(answer)
    monkeypatch.setattr("mockup.bench.app.MOST_BYTES", 10_000)  # and where the length is not said, at the limit

    def blocks():
        for _ in range(50):
            yield b"x" * 1000

    assert "larger than" in problem(put(app, blocks()))


def test_too_many_pixels_are_refused_before_they_are_decoded(app, monkeypatch):
    out = io.BytesIO()
    Image.new("1", (20_000, 20_000)).save(out, "PNG")
    monkeypatch.setattr("mockup.files.photo.decode", lambda *_: pytest.fail("it was decoded"))
    answer = put(app, out.getvalue(), "huge.png")
    assert answer.status_code == 422 and "pixels" in json.dumps(answer.json())


def test_a_second_photo_or_a_target_that_makes_no_sense(app):
    app.post("/api/leave", headers=OURS, json={})
    assert "no photo on the bench" in problem(app.put("/api/photo?name=b.jpg&second=1", headers=OURS, content=jpeg()))
    wood = np.random.default_rng(2).integers(90, 200, (300, 420, 1), np.uint8).repeat(3, 2)
    told = put(app, cv2.imencode(".png", wood)[1].tobytes(), "a.png")
    assert told.status_code == 200
    corners = [[0.1, 0.1], [0.9, 0.1], [0.9, 0.9], [0.1, 0.9]]
    by_hand = {"corners": corners, "size": [300, 200]}
    for asked, words in (({**by_hand, "second": True}, "no second photo"), ({**by_hand, "target": "of-1999"}, "no edition")):
        assert words in problem(app.post("/api/measure", headers=OURS, json=asked))
    assert "in another tab" in problem(app.put("/api/photo?name=b.jpg&second=1", headers=OURS, content=jpeg()))
    assert app.put(f"/api/photo?name=b.jpg&second={told.json()['photo']}", headers=OURS, content=jpeg()).status_code == 200
    assert "strips of the sheet" in problem(app.post("/api/measure", headers=OURS, json={**by_hand, "second": True}))


def test_a_name_from_outside_is_only_a_name(app):
    told = put(app, jpeg(), "../../../etc/x<script>.jpg").json()
    assert "/" not in told["name"] and told["name"].endswith("x<script>.jpg")
    assert app.get(f"/api/kept/{told['picture']}").headers["content-type"] == "image/jpeg"
    answer = app.post("/api/measure", headers=OURS, json={"corners": [[0.1, 0.1], [0.9, 0.1], [0.9, 0.9]]})
    assert "3 corners were marked" in problem(answer)
    answer = app.post("/api/measure", headers=OURS, json={"corners": [[0, 0], [1, 0], [1, 1], [0, 7]], "size": [300, 200]})
    assert "outside the photo" in problem(answer)
    assert app.post("/api/leave", headers=OURS, json={}).json() == {}
    assert "no photo" in problem(app.post("/api/measure", headers=OURS, json={}))


def test_no_file_of_the_maker_is_written_over(bench, app):
    photo = np.full((400, 600, 3), 30000, np.uint16)
    rng = np.random.default_rng(1)
    photo += rng.integers(0, 9000, (400, 600, 1), np.uint16)
    codes = np.clip(photo / 257, 0, 255).astype(np.uint8)
    data = cv2.imencode(".png", codes)[1].tobytes()
    before = {p: p.read_bytes() for p in bench.folder.iterdir() if p.is_file()}
    assert put(app, data, "flame.png").status_code == 200
    asked = {"corners": [[0.02, 0.02], [0.98, 0.02], [0.98, 0.98], [0.02, 0.98]], "size": [300, 200]}
    made = app.post("/api/measure", headers=OURS, json=asked)
    assert made.status_code == 200, made.text
    kept = app.post("/api/keep", headers=OURS, json={"name": "Pipit", "wood": "ash", "part": "top"})
    assert kept.status_code == 200, kept.text
    assert kept.json()["picture"] == "pipit-2.png", "pipit.toml is the scene"
    assert {p: p.read_bytes() for p in before} == before
    assert bench.document.scene().boards[kept.json()["board"]].wood == "ash"
    app.post("/api/undo", headers=OURS, json={})


@pytest.mark.parametrize("kind, names", [
    ("sheet", ["pipit.sheet.pdf"]), ("approval", ["pipit.blue.approval.png", "pipit.blue.approval.json"]), ("print", ["pipit.blue.print.pdf"]),
    ("picture", ["pipit.blue.png"]), ("share", ["pipit.share.html"]), ("dossier", ["pipit.blue.dossier.pdf", "pipit.blue.dossier.json", "pipit.blue.dossier.csv"])])
def test_papers(app, bench, kind, names):
    told = app.post("/api/papers", headers=OURS, json={"kind": kind, "look": "blue", "paper": "a4"})
    assert told.status_code == 200, told.text
    files = told.json()["files"]
    assert set(names) <= {f["name"] for f in files}
    for f in files:
        answer = app.get(f"/api/kept/{f['id']}")
        assert len(answer.content) == f["bytes"] > 100
        assert answer.content == (bench.folder / "papers" / f["name"]).read_bytes()
    assert bench.document.file.read_text() == bench.document.text, "the scene is saved before a paper is written of it"


def test_papers_that_make_no_sense(app):
    for asked in ({"kind": "poster"}, {"kind": "approval"}, {"kind": "approval", "look": "../x"}, {"kind": "sheet", "names": ["blue"]}, {"kind": "print", "paper": "a0"},
                  {"kind": "share", "names": ["../x"]}, {"kind": "share", "names": []}):
        answer = app.post("/api/papers", headers=OURS, json=asked)
        assert answer.status_code == 422 and problem(answer)


@pytest.mark.parametrize("data, words", [
    (b"", "holds no choice"), (b"\xff\xfe\x00", "holds no choice"), (b"[my choice]\nInstrument: Pipit\n", "cut off"), (b"x" * 2_000_001, "too large"),
    (b"[my choice] [end of my choice]" * 3000, "changed on its way")])
def test_what_is_no_answer_of_a_client(app, data, words):
    answer = app.put("/api/answer?write=1", headers=OURS, content=data)
    assert answer.status_code == 422 and words in problem(answer)


def test_a_clients_answer_becomes_an_approval(app, bench):
    """Read first, and nothing written; then written, with the client's words in the record."""
    view = bench.document.scene(exact=True).with_variant("blue")
    seen = short(seen_by_client(view, colours(view)))
    text = choice_text(Choice(instrument=view.title, revision="B", option="Blue", scene="pipit", variant="blue", seen=seen, name="Somebody",
                              date="2026-11-25", comment="Less gloss?"))
    mail = ("Hello,\n> " + text.replace("\n", "\n> ")).encode()
    told = app.put("/api/answer", headers=OURS, content=mail).json()
    assert (told["look"], told["client"], told["comment"], told["checked"]) == ("blue", "Somebody", "Less gloss?", True) and "files" not in told
    told = app.put("/api/answer?write=1", headers=OURS, content=mail).json()
    # Beside an approval of the same look without the client's words, which stays as it was.
    picture, record = (f["name"] for f in told["files"])
    assert picture in ("pipit.blue.approval.png", "pipit.blue.2.approval.png") and record == picture.replace(".png", ".json")
    assert json.loads((bench.folder / "papers" / record).read_text())["choice"]["comment"] == "Less gloss?"
    assert "not what the client saw" in problem(app.put("/api/answer?write=1", headers=OURS, content=choice_text(
        Choice(instrument=view.title, revision="B", option="Blue", scene="pipit", variant="blue", seen="0000 0000 0000", name="S", date="2026-11-25")).encode()))


def test_the_clients_page_may_show_itself_and_ask_for_nothing(app):
    told = app.post("/api/papers", headers=OURS, json={"kind": "share"}).json()
    assert "MB, to mail" in told["notes"][0]
    answer = app.get(f"/api/kept/{told['files'][0]['id']}")
    policy = answer.headers["content-security-policy"]
    assert answer.headers["content-type"].startswith("text/html")
    assert "default-src 'none'" in policy and "sandbox" in policy and "same-origin" not in policy and "connect-src" not in policy


def test_the_best_places_and_the_lamp(app):
    told = app.post("/api/places", headers=OURS, json={"part": "top", "look": "blue", "aim": "figure"}).json()
    assert 1 <= len(told["places"]) <= 5
    assert app.get(f"/api/kept/{told['places'][0]['picture']}").headers["content-type"] == "image/jpeg"
    told = app.post("/api/tilt", headers=OURS, json=VIEW).json()
    frames = [cv2.imdecode(np.frombuffer(app.get(f"/api/kept/{name}").content, np.uint8), 1) for name in told["frames"]]
    assert len(frames) == 9 and frames[0].shape == (320, 280, 3)
    assert np.abs(frames[0].astype(int) - frames[-1]).max() > 10, "the figure moves"


def test_the_colour_to_meet(app):
    full = app.post("/api/colour", headers=OURS, json={"part": "top", "look": "blue"}).json()
    assert full["light"]["lab"][0] > full["lab"][0] > full["dark"]["lab"][0] and full["error"] > 0 and full["basis"]
    quick = app.post("/api/colour", headers=OURS, json={"part": "top", "look": "blue", "quick": True}).json()
    assert quick["lab"] == full["lab"]
    darker = app.post("/api/colour", headers=OURS, json={"part": "top", "look": "blue", "quick": True, "try": {"top": {"steps": [{"stain": "blue", "strength": 1}, {"coat": "oil varnish", "coats": 4}]}}}).json()
    assert darker["lab"][0] < full["lab"][0] - 3
    # Nobody measured the board; under paint that covers it does not matter.
    painted = {"top": {"steps": [{"paint": [40, 10, 10], "cover": 1}, {"coat": "oil varnish", "coats": 4}]}}
    assert full["assumed"] and not app.post("/api/colour", headers=OURS, json={"part": "top", "look": "blue", "try": painted}).json()["assumed"]


def test_the_photo_limits_are_those_that_are_said():
    assert photos.MOST_BYTES == 120_000_000 and photos.MOST_PIXELS <= 64_000_000


def test_stale_wishes_are_not_drawn(bench):
    """Of ten wishes made while one is drawn, the last one is drawn and no other."""
    import threading

    gate, drawn = threading.Event(), []
    first = bench.easel.ask("gate", 0, lambda _: gate.wait(10))
    wishes = [bench.easel.ask("main", 0, lambda _, n=n: drawn.append(n)) for n in range(10)]
    gate.set()
    first.result(10)
    wishes[-1].result(10)
    assert drawn == [9]
    assert all(type(w.exception(10)).__name__ == "Gone" for w in wishes[:-1])


def test_a_mistake_of_ours_tells_nothing_of_the_machine(bench, monkeypatch, capsys):
    monkeypatch.setattr(Bench, "state", lambda self: 1 / 0)
    client = TestClient(create_app(bench, port=PORT, token=TOKEN), base_url=HOME, raise_server_exceptions=False)
    client.cookies.set(f"bench{PORT}", TOKEN)
    answer = client.get("/api/state")
    assert answer.status_code == 500 and "ZeroDivision" not in answer.text and "mockup bench says more" in answer.text
    assert "ZeroDivisionError" in capsys.readouterr().err
