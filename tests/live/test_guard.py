"""Nobody else gets in: foreign addresses, pages and keys, what is too large, too slow or too much."""

from __future__ import annotations

import contextlib
import json
import re
import socket
import time
from collections.abc import Callable
from typing import Any

import pytest
from websockets.exceptions import InvalidStatus

from silhouette.live import guard, listening

Opened = Any
INSIDE = ("/api/poses", "/api/jobs/1", "/api/nothing")


def until(true: Callable[[], bool]) -> None:
    """Wait until something is true; a minute is more than any machine needs."""
    ends = time.monotonic() + 60
    while not true():
        assert time.monotonic() < ends
        time.sleep(0.01)


def hung_up(line: socket.socket) -> bool:
    """Whether the other end closes the connection, whatever it says before."""
    try:
        while line.recv(65536):
            pass
    except ConnectionError:
        pass
    return True


# ----------------------------------------------------------------------------------------------------------- the key

def test_key_is_exchanged_for_a_cookie_that_no_script_and_no_other_page_can_use(opened: Opened) -> None:
    assert b"enter.js" in opened.ask("GET", "/", cookie=None)[2]
    status, headers, _ = opened.ask("POST", "/enter", opened.house.keys.key.encode(), cookie=None, origin=opened.origin)
    name, *traits = [part.strip() for part in headers["set-cookie"].casefold().split(";")]
    assert status == 200 and name.startswith(f"silhouette-{opened.port}=")
    assert {"httponly", "samesite=strict", "path=/"} <= set(traits) and "domain" not in headers["set-cookie"].casefold()
    own = headers["set-cookie"].split(";")[0]
    assert b"enter.js" not in opened.ask("GET", "/", cookie=own)[2]
    assert opened.ask("GET", "/api/jobs/1", cookie=own)[0] == 404, "it is let in, and there is no such job"


@pytest.mark.parametrize("key", [b"", b"x", b"\xff\xfe\0", "ключ".encode(), b"a" * 60_000])
def test_wrong_key_gets_no_cookie(opened: Opened, key: bytes) -> None:
    status, headers, _ = opened.ask("POST", "/enter", key, cookie=None)
    assert status == 403 and "set-cookie" not in headers


@pytest.mark.parametrize("jar", ['other={"a": [1]}; {own}', "{own}; a b c", ";;{own}", "$Version=1; x=\xe9; {own}",
                                 "{name}=x; {own}", "{own}; {name}=x"])
def test_cookies_of_other_servers_on_this_computer_keep_nobody_out(opened: Opened, jar: str) -> None:
    """Cookies know no ports: the browser sends those of all that ever ran here."""
    shown = jar.replace("{own}", opened.cookie).replace("{name}", opened.door.cookie)
    assert opened.ask("GET", "/api/jobs/1", cookie=shown)[0] == 404


def test_many_wrong_keys_are_sent_away_and_the_owner_still_gets_in(opened: Opened) -> None:
    found = [opened.ask("POST", "/enter", b"wrong", cookie=None)[0] for _ in range(15)]
    assert found[0] == 403 and found[-1] == 429
    assert opened.ask("POST", "/enter", opened.house.keys.key.encode(), cookie=None)[0] == 200


@pytest.mark.parametrize("cookie", [None, "{name}=", "{name}=x", "other={value}", "{name}=é", "{name}=\"", "=;=", ";;;",
                                    "{name}={value}x"])
def test_without_the_cookie_nothing_is_told(opened: Opened, cookie: str | None) -> None:
    name, value = opened.cookie.split("=", 1)
    given = cookie and cookie.format(name=name, value=value)
    for path in INSIDE:
        assert opened.ask("GET", path, cookie=given)[0] == 403
    assert opened.ask("POST", "/api/jobs", {"what": "rank"}, cookie=given)[0] == 403
    assert b"enter.js" in opened.ask("GET", "/live", cookie=given)[2]
    with pytest.raises(InvalidStatus), opened.watch(cookie=given or "a=b"):
        pass


# ------------------------------------------------------------------------------------- other addresses, other pages

@pytest.mark.parametrize("host", ["evil.example", "evil.example:{port}", "127.0.0.1", "localhost", "127.0.0.1:1",
                                  "127.0.0.1:{port}.evil.example", "evil.example#127.0.0.1:{port}", "[::1]:{port}",
                                  "0.0.0.0:{port}", "127.1:{port}", "", "127.0.0.1:{port}, evil.example"])
def test_name_that_leads_here_from_elsewhere_is_refused(opened: Opened, host: str) -> None:
    """A page of another site can make its own name lead to this computer."""
    shown = host.format(port=opened.port)
    for path in ("/", "/live", "/page/enter.js", "/api/jobs/1"):
        assert opened.ask("GET", path, host=shown)[0] in (400, 403)
    assert opened.ask("POST", "/enter", opened.house.keys.key.encode(), cookie=None, host=shown)[0] in (400, 403)


def test_both_names_of_this_computer_are_its_own(opened: Opened) -> None:
    for host in (f"127.0.0.1:{opened.port}", f"localhost:{opened.port}"):
        assert opened.ask("GET", "/", host=host, origin=f"http://{host}")[0] == 200


def test_request_with_two_hosts_or_none_is_refused(opened: Opened) -> None:
    own = f"Host: {opened.host}\r\n"
    for hosts in ("", own + "Host: evil.example\r\n", "Host: evil.example\r\n" + own):
        answer = opened.raw(f"GET /page/enter.js HTTP/1.1\r\n{hosts}Connection: close\r\n\r\n".encode()).recv(65536)
        assert answer.split()[1] in (b"400", b"403"), answer


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "http://127.0.0.1:1", "https://{host}", "http://{host}/",
                                    "http://{host}.evil.example", "http://127.0.0.1", "file://"])
def test_other_page_gets_nothing_even_with_the_cookie(opened: Opened, origin: str) -> None:
    from_there = origin.format(host=opened.host)
    for method, path in (("GET", "/"), ("GET", "/api/jobs/1"), ("POST", "/api/jobs"), ("POST", "/enter")):
        assert opened.ask(method, path, b"{}", origin=from_there)[0] == 403
    with pytest.raises(InvalidStatus), opened.watch(origin=from_there):
        pass


def test_socket_that_does_not_say_where_it_comes_from_is_refused(opened: Opened) -> None:
    head = (f"GET /api/stage HTTP/1.1\r\nHost: {opened.host}\r\nCookie: {opened.cookie}\r\nUpgrade: websocket\r\n"
            "Connection: Upgrade\r\nSec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\nSec-WebSocket-Version: 13\r\n")
    assert b"403" in opened.raw(f"{head}\r\n".encode()).recv(65536)
    assert b"101" in opened.raw(f"{head}Origin: {opened.origin}\r\n\r\n".encode()).recv(65536)


@pytest.mark.parametrize("site", ["cross-site", "same-site", "nonsense"])
def test_what_another_page_has_its_browser_fetch_is_refused(opened: Opened, site: str) -> None:
    """Pictures and scripts that a page of another port of this computer asks for bear our cookie and no origin."""
    for path, what in (("/api/jobs/1", "image"), ("/page/enter.js", "script"), ("/", "iframe")):
        assert opened.ask("GET", path, sec_fetch_site=site, sec_fetch_dest=what, sec_fetch_mode="no-cors")[0] == 403
    followed = {"sec_fetch_site": site, "sec_fetch_dest": "document", "sec_fetch_mode": "navigate"}
    assert opened.ask("GET", "/", cookie=None, **followed)[0] == 200, "a link to the page may be followed"
    assert opened.ask("GET", "/api/jobs/1", **followed)[0] == 403
    assert opened.ask("POST", "/enter", b"", **followed)[0] == 403


def test_every_answer_forbids_other_scripts_and_to_be_kept(opened: Opened) -> None:
    asked = [("GET", "/"), ("GET", "/live"), ("GET", "/page/enter.js"), ("GET", "/nothing"), ("GET", "/api/jobs/1"),
             ("POST", "/api/jobs"), ("GET", "/page/nothing.js"), ("DELETE", "/")]
    answers = [opened.ask(*one) for one in asked] + [opened.ask("GET", "/", host="evil.example")]
    for _, headers, _ in answers:
        rules = dict(rule.strip().split(" ", 1) for rule in headers["content-security-policy"].split(";"))
        assert rules["default-src"] == "'none'" and rules["script-src"] == "'self'"
        assert rules["frame-ancestors"] == rules["base-uri"] == rules["form-action"] == "'none'"
        assert headers["cache-control"] == "no-store" and headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer" and "server" not in headers
        assert "access-control-allow-origin" not in headers


def test_pages_hold_no_script_of_their_own(opened: Opened) -> None:
    for path, cookie in (("/", ""), ("/live", ""), ("/", None)):
        page = opened.ask("GET", path, cookie=cookie)[2].decode()
        assert page.count("<script") == page.count('<script src="/page/') > 0
        assert "onclick" not in page and "javascript:" not in page
        assert "://" not in page.replace("http://www.w3.org", "")


# ------------------------------------------------------------------------------------------------------- other paths

@pytest.mark.parametrize("path", [
    "/page/../server.py", "/page/..%2fserver.py", "/page/%2e%2e/server.py", "/page/enter.html", "/page//etc/passwd",
    "/page/..\\server.py", "/page/enter.js%00.css", "/page/", "/page", "/page/" + "a" * 3000, "//etc/passwd",
    "/../../etc/passwd", "/page/enter.js/..", "/%00", "/page/.", "/page/%ff", "/page/__pycache__",
])
def test_no_path_leads_to_a_file(opened: Opened, path: str) -> None:
    status, _, body = opened.ask("GET", path)
    assert status in (400, 404) and b"import" not in body and b"root:" not in body


@pytest.mark.parametrize("method", ["PUT", "TRACE", "OPTIONS", "CONNECT", "PATCH", "FOO"])
def test_other_methods_do_nothing(opened: Opened, method: str) -> None:
    assert opened.ask(method, "/")[0] in (403, 405)
    assert opened.ask(method, "/api/jobs/1", origin="http://evil.example")[0] in (403, 405)


# ---------------------------------------------------------------------------------- too large, too slow, too much

def test_ten_gigabytes_declared_are_refused_before_a_byte_is_read(opened: Opened) -> None:
    for path in ("/enter", "/api/jobs"):
        head = (f"POST {path} HTTP/1.1\r\nHost: {opened.host}\r\nCookie: {opened.cookie}\r\n"
                f"Content-Length: {10**10}\r\n\r\n")
        line = opened.raw(head.encode())
        assert b" 413 " in line.recv(65536) and hung_up(line)
    assert opened.ask("GET", "/")[0] == 200


def test_more_than_is_taken_is_refused_where_nothing_was_declared(opened: Opened) -> None:
    head = (f"POST /api/jobs HTTP/1.1\r\nHost: {opened.host}\r\nCookie: {opened.cookie}\r\n"
            "Transfer-Encoding: chunked\r\n\r\n")
    line = opened.raw(head.encode())
    piece = b"8000\r\n" + b" " * 0x8000 + b"\r\n"
    try:
        for _ in range(1000):
            line.sendall(piece)
        assert b" 413 " in line.recv(65536)
    except ConnectionError:  # hung up on while still sending
        pass
    assert opened.ask("GET", "/")[0] == 200


@pytest.mark.parametrize("length", ["-1", "1e9", "abc", "5, 6", "٣", "9" * 400])
def test_size_that_is_none_is_refused(opened: Opened, length: str) -> None:
    head = (f"POST /api/jobs HTTP/1.1\r\nHost: {opened.host}\r\nCookie: {opened.cookie}\r\n"
            f"Content-Length: {length}\r\n\r\n")
    assert opened.raw(head.encode() + b"{}   ").recv(65536).split()[1] in (b"400", b"413")
    assert opened.ask("GET", "/")[0] == 200


@pytest.mark.parametrize("rubbish", [
    b"\0" * 2000, b"GET / HTTP/9.9\r\n\r\n", b"\x16\x03\x01\x02\0\x01\0\x01\xfc\x03\x03" * 5, b"GET /\r\n\r\n",
    b"GET " + b"/" * 70_000 + b" HTTP/1.1\r\n\r\n", b"GET / HTTP/1.1\r\n" + b"A: b\r\n" * 20_000 + b"\r\n",
    b"GET / HTTP/1.1\r\nHost: a\r\nContent-Length: 1\r\nTransfer-Encoding: chunked\r\n\r\n",
])
def test_rubbish_is_hung_up_on(opened: Opened, rubbish: bytes) -> None:
    try:
        line = opened.raw(rubbish)
    except ConnectionError:
        return
    answer = b""
    with contextlib.suppress(ConnectionError):
        answer = line.recv(65536)
    assert not answer or answer.split()[1][:1] == b"4"
    assert opened.ask("GET", "/")[0] == 200


def test_who_trickles_a_head_is_hung_up_on(opened: Opened, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(listening, "HEAD_S", 0.2)
    for begun in (b"", b"GET / HTTP/1.1\r\nHost: "):
        assert hung_up(opened.raw(begun))
    assert opened.ask("GET", "/")[0] == 200


def test_who_trickles_a_second_head_is_hung_up_on_too(opened: Opened, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(listening, "HEAD_S", 0.2)
    line = opened.raw(f"GET /page/enter.js HTTP/1.1\r\nHost: {opened.host}\r\n\r\n".encode())
    assert b"200" in line.recv(65536)
    line.sendall(b"GET /page/")
    assert hung_up(line)


def test_who_trickles_a_body_is_hung_up_on(opened: Opened, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guard, "SILENT_S", 0.2)
    head = f"POST /api/jobs HTTP/1.1\r\nHost: {opened.host}\r\nCookie: {opened.cookie}\r\nContent-Length: 50\r\n\r\n{{"
    line = opened.raw(head.encode())
    assert b" 408 " in line.recv(65536) and hung_up(line)


def test_who_sends_a_byte_at_a_time_is_hung_up_on(opened: Opened, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guard, "SLOWEST", 1e12)
    monkeypatch.setattr(guard, "SILENT_S", 0.5)
    head = f"POST /api/jobs HTTP/1.1\r\nHost: {opened.host}\r\nCookie: {opened.cookie}\r\nContent-Length: 50000\r\n\r\n"
    line = opened.raw(head.encode())
    try:
        for _ in range(6000):  # never silent for long, and never done
            line.sendall(b" ")
            time.sleep(0.01)
        raise AssertionError("it was listened to all the while")
    except ConnectionError:
        pass
    assert opened.ask("GET", "/")[0] == 200


def test_a_thousand_connections_that_say_nothing_keep_nobody_out(opened: Opened) -> None:
    import resource

    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if hard < 4096:
        pytest.skip("this system lets a program open too few connections")
    resource.setrlimit(resource.RLIMIT_NOFILE, (max(soft, 4096), hard))
    lines: list[socket.socket] = []
    try:
        with opened.watch() as inside:
            lines += [opened.raw() for _ in range(1000)]
            assert opened.ask("GET", "/")[0] == 200
            assert opened.told("GET", "/api/jobs/1", status=404)
            assert hung_up(lines[0]), "the one that came first went first"
            inside.send("{}")
            heard = [json.loads(inside.recv(60))["kind"] for _ in range(2)]
            assert "word" in heard, "who is inside stays inside"
    finally:
        for line in lines:
            line.close()
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))


@pytest.mark.parametrize("entered", [True, False])
def test_only_so_many_requests_are_answered_at_once_and_strangers_are_counted_apart(
    opened: Opened, entered: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(guard, "AT_ONCE" if entered else "STRANGERS_AT_ONCE", 3)
    monkeypatch.setattr(guard, "STRANGER_S", 600.0)
    own, other = ("", None) if entered else (None, "")
    cookie = f"Cookie: {opened.cookie}\r\n" if entered else ""
    head = f"POST /enter HTTP/1.1\r\nHost: {opened.host}\r\n{cookie}Content-Length: 9\r\n\r\n"
    lines = [opened.raw(head.encode()) for _ in range(3)]
    until(lambda: opened.ask("GET", "/", cookie=own)[0] == 503)
    assert opened.ask("GET", "/", cookie=other)[0] == 200
    for line in lines:
        line.close()
    until(lambda: opened.ask("GET", "/", cookie=own)[0] == 200)


def test_stranger_who_is_slow_with_the_key_is_hung_up_on(opened: Opened, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guard, "STRANGER_S", 0.2)
    line = opened.raw(f"POST /enter HTTP/1.1\r\nHost: {opened.host}\r\nContent-Length: 50\r\n\r\na".encode())
    assert b" 408 " in line.recv(65536) and hung_up(line)


def test_where_the_request_says_it_comes_from_is_not_believed(opened: Opened) -> None:
    """A header for servers behind servers must not make a stranger one of us."""
    for name in ("x_forwarded_for", "x_forwarded_host", "forwarded", "x_real_ip", "x_forwarded_proto"):
        assert opened.ask("GET", "/", host="evil.example", **{name: opened.host})[0] == 403


def test_whatever_can_be_asked_for_is_shut_to_who_has_not_entered(opened: Opened) -> None:
    """Every route of every module, with each of its methods, as the application knows them now."""
    shut = 0
    for route in opened.house.app.routes:
        path = re.sub(r"{\w+(:int)?}", "7", route.path)
        for method in sorted(getattr(route, "methods", None) or {"GET"}):
            status, _, body = opened.ask(method, path, b"{}" if method not in ("GET", "HEAD") else None, cookie=None)
            if path.startswith("/page/"):
                assert status in (404, 403)
            elif path == "/enter" or method == "HEAD":
                assert status in (200, 403)
            elif method == "GET" and not path.startswith("/api/"):
                assert b"enter.js" in body and status == 200, path
            else:
                shut += 1
                assert status == 403, (method, path)
    assert shut > 20


def test_page_that_shows_itself_to_strangers_leaves_none_of_them_counted(home: Any) -> None:
    """The phone's page is shown before the code is typed; each request that was answered is over."""
    stranger = home.open()
    for _ in range(2 * guard.STRANGERS_AT_ONCE):
        assert stranger.ask("GET", "/phone")[0] == 200
    assert stranger.ask("POST", "/pair", {"code": "nonsense"})[0] == 403
