"""Who gets in, what is refused, and that nothing leaves the project folder.

What is held against: OWASP Cheat Sheets "Cross-Site Request Forgery Prevention" (origin with standard headers),
"Cross-Site WebSocket Hijacking", "DNS rebinding" (host allow-list); RFC 6454 (origin), RFC 6455 section 10.2; path
tricks are the classes of CWE-22 and its children 23 to 40. From memory, no copy at hand.
"""

import contextlib
import io
import random
import re
import shutil
import socket
from pathlib import Path
from urllib.parse import quote

import pytest
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect

from tests.web.desks import Client, desk, paired, watcher
from wayrule import store
from wayrule.errors import UsageError
from wayrule.web.guard import MOST_BYTES
from wayrule.web.keys import GOOD_FOR_S, Keys
from wayrule.web.pages import PAGES
from wayrule.web.serving import Serving

SECRET = b"the signalman's diary"


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A project folder with a neighbour whose files are nobody's business."""
    folder = tmp_path_factory.mktemp("home")
    (folder / "project").mkdir()
    (folder / "secret").mkdir()
    for name in ("diary.txt", "stations.csv", "report.html", "survey.json"):
        (folder / "secret" / name).write_bytes(SECRET)
    return folder


@pytest.fixture(scope="module")
def serving(home: Path):
    with desk(home / "project") as running:
        yield running


def digests(folder: Path) -> dict[str, str]:
    return {str(p): store.sha256(p.read_bytes()) for p in sorted(folder.rglob("*")) if p.is_file()}


def views() -> list[tuple[str, str]]:
    return [("GET", path) for page in PAGES for path in page.reads] + [
        ("POST", path) for page in PAGES for path in page.acts
    ]


def filled(path: str, word: str = "x") -> str:
    return re.sub(r"\{[^}]*\}", word, path)


def test_it_binds_to_this_machine_unless_asked_to_share(home):
    with Serving(str(home / "project")) as alone, Serving(str(home / "project"), share=True) as shared:
        assert alone._socket.getsockname()[0] == "127.0.0.1"
        assert alone.pairing == alone.watching == ""
        assert shared._socket.getsockname()[0] == "0.0.0.0"
        assert all(re.fullmatch(r"http://[\d.]+:\d+/#key=[\w-]{32}", a) for a in (shared.pairing, shared.watching))


@pytest.mark.parametrize("name", ["evil.example", "evil.example:{port}", "127.0.0.1", "127.0.0.1:1", "localhost.", ""])
def test_a_foreign_host_is_refused(serving, name):
    client = paired(serving)
    answer = client.ask("GET", "/", Host=name.format(port=serving.port))
    assert answer.status in (400, 421)
    assert b"Layouts" not in answer.body


def test_its_own_names_are_answered(serving):
    assert paired(serving).ask("GET", "/", Host=f"LOCALHOST:{serving.port}").status == 200


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "", "https://127.0.0.1:{port}", "http://127.0.0.1:1"]
)
@pytest.mark.parametrize("path", ["/tour", "/enter", "/work/x/cancel"])
def test_what_changes_something_comes_from_a_page_of_the_desk(serving, home, origin, path):
    before = digests(home)
    answer = paired(serving).ask("POST", path, b"", Origin=origin.format(port=serving.port))
    assert answer.status == 403
    assert digests(home) == before
    assert not serving.office.jobs.running()


@pytest.mark.parametrize("origin", ["http://evil.example", None, "null"])
def test_a_handshake_from_elsewhere_is_refused(serving, origin):
    job = serving.office.jobs.start("a short work", lambda step: "/")  # noqa: ARG005
    client = paired(serving)
    where = f"ws://127.0.0.1:{serving.port}/work/{job.ident}/live"
    with (
        pytest.raises(InvalidStatus) as refused,
        connect(where, origin=origin, additional_headers={"Cookie": client.cookie}),
    ):
        pass
    assert refused.value.response.status_code == 403
    own = f"http://127.0.0.1:{serving.port}"
    with connect(where, origin=own, additional_headers={"Cookie": client.cookie}) as wire:
        assert '"done"' in [*wire][-1]
    with pytest.raises(InvalidStatus), connect(where, origin=own):  # from here, but without a key
        pass


@pytest.mark.parametrize(("method", "path"), views())
def test_without_a_key_every_page_is_a_closed_door(serving, method, path):
    answer = Client(serving.port).ask(method, filled(path), b"" if method == "POST" else None)
    assert answer.status == 401
    assert "A key is needed" in answer.text


@pytest.mark.parametrize("path", [path for page in PAGES for path in page.acts])
def test_a_viewer_reads_and_does_not_act(serving, home, path):
    client, before = watcher(serving), digests(home)
    assert client.ask("GET", "/").status == 200
    assert client.ask("POST", filled(path), b"").status == 403
    assert digests(home) == before
    assert not serving.office.jobs.running()


def test_a_one_time_key_pairs_once_and_grows_old():
    now = [0.0]
    keys = Keys(lambda: now[0])
    once, late = keys.one_time(), keys.one_time()
    assert keys.role(keys.enter(once)) == "acts"
    assert keys.enter(once) is None
    now[0] = GOOD_FOR_S + 1
    assert keys.enter(late) is None
    assert keys.role(keys.enter(keys.watching)) == "reads"
    assert all(keys.enter(wrong) is None for wrong in ("", "x", keys.own + " ", keys.own[:-1]))
    assert keys.role(None) is keys.role("") is None


def test_the_session_is_out_of_reach_of_scripts_and_other_pages(serving):
    said = Client(serving.port).enter(serving.office.keys.own).headers["set-cookie"].lower()
    assert "httponly" in said
    assert "samesite=strict" in said
    assert f"wayrule-{serving.port}=" in said


def test_every_answer_carries_a_strict_policy_and_allows_no_other_origin(serving):
    client = paired(serving)
    for path in ("/", "/nothing", "/static/desk.css", "/work/x"):
        headers = client.ask("GET", path, Origin="http://evil.example").headers
        policy = headers["content-security-policy"]
        scripts = re.search(r"script-src ([^;]*)", policy)
        assert scripts is not None
        assert scripts[1].strip() == "'self'"
        assert "default-src 'none'" in policy
        assert "unsafe-eval" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert not [name for name in headers if name.startswith("access-control")]
        assert "server" not in headers


def test_no_page_has_script_or_handlers_within_its_text():
    for template in (Path(__file__).parents[2] / "src/wayrule/web/templates").glob("*.j2"):
        text = template.read_text(encoding="utf-8")
        assert not re.search(r"<script(?![^>]*\bsrc=)|\son\w+=|javascript:|\sstyle=", text), template.name
        assert not re.search(r"https?://", text), template.name


TRICKS = [
    "../secret", "..%2fsecret", "%2e%2e/secret", "..\\secret", "..%5csecret", "....//secret", "/etc", "//etc/passwd",
    "%2fetc%2fpasswd", "C:/Windows", "c:secret", "%00", "a%00b", "secret%00.csv", ".", "./", "a/../../secret", "link",
    "link/", "%c0%ae%c0%ae/secret", "%252e%252e%252fsecret", ".git", "a/./b", "a//b", "x" * 300, "%ff", "con:", "a:b",
    "%0d%0aSet-Cookie:x=y", "..;/secret", "\u202esecret", "~", "~root", "file:%2f%2f%2fetc",
]  # fmt: skip


@pytest.mark.parametrize("trick", TRICKS)
def test_no_path_leaves_the_project_folder(serving, home, trick):
    with contextlib.suppress(OSError, NotImplementedError):
        (home / "project" / "link").symlink_to(home / "secret", target_is_directory=True)
    client = paired(serving)
    for _, path in views():
        if "{" in path:
            address = path.split("{")[0] + quote(trick, safe="%/\\:;~+") + path.split("}")[-1]
            answer = client.ask("GET", address)
            assert 400 <= answer.status < 500, (address, answer.status)
            assert SECRET not in answer.body


@pytest.mark.parametrize(
    "asked", ["..", "a/..", "/a", "a\\b", "a\0b", ".a", "a/", "C:", "a//b", "\ud800", "link", "b."]
)
def test_a_place_outside_is_one_clear_line(home, asked):
    with contextlib.suppress(OSError, NotImplementedError):
        (home / "project" / "link").symlink_to(home / "secret", target_is_directory=True)
    with pytest.raises(UsageError, match="expected a place in the project folder"):
        store.within(home / "project", asked)


def test_a_place_inside_is_found(home):
    assert store.within(home / "project", "Heather Vale/survey ä") == home / "project/Heather Vale/survey ä"
    assert store.within(home / "project", "") == home / "project"


@pytest.mark.parametrize(
    ("body", "headers", "status"),
    [
        (b"a" * (MOST_BYTES + 1), {}, 413),
        (b"", {"Content_Length": "9" * 8}, 413),
        (b"", {"Content_Length": "9" * 40}, (400, 413)),
        (b"", {"Content_Length": "-1"}, (400, 413)),
        (b'{"key": 1}', {"Content_Type": "application/json"}, 415),
        (b"--x\r\nrubbish", {"Content_Type": "multipart/form-data; boundary=x"}, 415),
        (b"\xff\xfe=\x00", {}, 400),
        (b"a=%ff", {}, 400),
        (b"&".join(b"a%d=" % i for i in range(60)), {}, 400),
    ],
)
def test_what_is_too_large_or_no_form_is_refused(serving, body, headers, status):
    answer = paired(serving).ask("POST", "/tour", body, **headers)
    assert answer.status in (status if isinstance(status, tuple) else (status,))
    assert not serving.office.jobs.running()


def test_a_body_that_never_says_how_large_it_is_ends_at_the_limit(serving):
    client = paired(serving)
    host = f"127.0.0.1:{serving.port}"
    head = f"POST /tour HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nCookie: {client.cookie}\r\n"
    with socket.create_connection(("127.0.0.1", serving.port), 20) as wire:
        wire.sendall(head.encode() + b"Transfer-Encoding: chunked\r\n\r\n")
        with contextlib.suppress(ConnectionError):
            for _ in range(1 + MOST_BYTES // 4096):
                wire.sendall(b"1000\r\n" + b"a" * 4096 + b"\r\n")
        assert b" 413 " in wire.recv(200)


def test_an_address_without_end_is_refused(serving):
    assert paired(serving).ask("GET", "/?" + "a" * 3000).status == 414


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT", "MOVE"])
def test_other_methods_are_refused(serving, method):
    assert paired(serving).ask(method, "/").status in (400, 405)


def test_a_defect_shows_no_trace_and_no_secret_reaches_the_log(home, monkeypatch, capfd):
    def broken(root: Path) -> None:
        raise RuntimeError(f"planted at {root}")

    with desk(home / "project") as running:
        client = paired(running)
        monkeypatch.setattr("wayrule.web.pages.layouts.layouts", broken)
        answer = client.ask("GET", "/")
        keys = running.office.keys
        secrets = [keys.own, keys.watching, client.cookie.split("=")[1]]
    assert answer.status == 500
    assert "Traceback" not in answer.text
    assert "planted" not in answer.text
    told = "".join(capfd.readouterr())
    assert "planted" in told  # the terminal says what it was
    assert not [secret for secret in secrets if secret in told]


def test_a_thousand_random_requests_read_nothing_outside_and_write_nothing(serving, home):
    """Made from the published routes: their paths with tricks, odd forms and headers, of a viewer and of nobody."""
    rng = random.Random(20)
    clients = [Client(serving.port), watcher(serving)]
    shutil.copytree(home / "secret", home / "project" / "broken", dirs_exist_ok=True)  # survey.json that is none
    before = digests(home)
    letters = "abc/.%2e\\:?&=+ ;\x7fé☃0-"
    places = ["broken", "nothing", *TRICKS]
    seen: set[int] = set()
    for _ in range(1000):
        method, path = rng.choice(views())
        word = rng.choice(places) if rng.random() < 0.6 else "".join(rng.choices(letters, k=rng.randrange(1, 30)))
        query = "&".join(f"{rng.choice('ab')}={quote(''.join(rng.choices(letters, k=6)))}" for _ in range(2))
        address = re.sub(r"\{[^}]*\}", lambda _, w=word: quote(w, safe="%/\\:;~+"), path) + "?" + query
        body = rng.randbytes(rng.randrange(0, 60)) if method == "POST" else None
        answer = rng.choice(clients).ask(method, address, body)
        seen.add(answer.status)
        assert answer.status < 500, address
        assert "Traceback" not in answer.body.decode("utf-8", "replace")
        if "broken" not in address:
            assert SECRET not in answer.body
    assert seen >= {200, 401, 403, 422}
    assert digests(home) == before
    shutil.rmtree(home / "project" / "broken")


def test_a_port_that_is_taken_is_one_clear_line(home):
    with Serving(str(home / "project")) as first, pytest.raises(UsageError, match=f"expected port {first.port} to be"):
        Serving(str(home / "project"), port=first.port)


def test_a_code_to_scan_reads_as_its_address(home):
    with Serving(str(home / "project"), share=True) as shared:
        drawn = shared.code(shared.pairing)
    lines = [line for line in io.StringIO(drawn) if line.strip()]
    assert len(lines) > 15  # 4 + 1 modules of border and at least version 4, two rows a line
