"""The desk without a browser: who is let in, what is answered, kept, refused, closed."""

from __future__ import annotations

import asyncio
import re
import signal
import time
import urllib.error
import urllib.request
from collections.abc import Awaitable, Callable, Iterator
from contextlib import suppress
from dataclasses import replace
from http.client import HTTPMessage
from pathlib import Path
from typing import Any

import pytest
from desk_case import Line, Running, opened, own_site, talk
from patience import HANG_S
from springhouse_host.desk import choices, newest
from springhouse_host.errors import SiteError
from springhouse_host.proof import running, scenarios
from springhouse_host.site import VARIANTS, load_site
from tornado.httpclient import HTTPClientError

Join = Callable[..., Awaitable[Line]]


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    folder = tmp_path_factory.mktemp("desk")
    with opened(str(own_site(folder)), cwd=folder) as found:
        yield found


def got(address: str, **headers: str) -> tuple[int, HTTPMessage, bytes]:
    """Status, headers and body of an address."""
    request = urllib.request.Request(address, headers=headers)
    try:
        with urllib.request.urlopen(request, timeout=HANG_S) as answer:
            return answer.status, answer.headers, answer.read()
    except urllib.error.HTTPError as error:
        with error:
            return error.code, error.headers, error.read()


def test_the_page_is_served_to_who_knows_its_token(desk: Running) -> None:
    status, headers, body = got(desk.address)
    assert status == 200
    assert b"<html" in body
    assert "default-src 'none'" in headers["Content-Security-Policy"]
    assert headers["Cache-Control"] == "no-store"
    for name in re.findall(rb'(?:href|src)="([a-z.]+)"', body):
        assert got(desk.address + name.decode())[0] == 200, name


@pytest.mark.parametrize(
    "path",
    [
        *("/", "/desk.css", "/wrong/", "/wrong/desk.js", "/wrong/report", "/favicon.ico"),
        "/wrong/drawing/0/mains.svg",
    ],
)
def test_nothing_is_told_without_the_token(desk: Running, path: str) -> None:
    status, _, body = got(f"http://{desk.host}{path}")
    assert status == 404
    assert desk.token.encode() not in body


@pytest.mark.parametrize("path", ["../desk.py", "%2e%2e/desk.py", "desk.py", "__init__.py", "x.js"])
def test_only_the_page_s_own_files_are_served(desk: Running, path: str) -> None:
    assert got(desk.address + path)[0] == 404


@pytest.mark.parametrize("name", ["Host", "Origin"])
def test_another_host_or_origin_is_refused(desk: Running, name: str) -> None:
    """A name that somebody points at the loopback, and a page from elsewhere (RFC 6454)."""
    other = {"Host": "springhouse.example", "Origin": "http://springhouse.example"}[name]
    status, _, body = got(desk.address, **{name: other})
    assert status == 403
    assert b"<html" not in body


@pytest.mark.parametrize("origin", ["http://springhouse.example", "null", "http://127.0.0.1:1", ""])
def test_a_line_from_another_origin_is_refused(desk: Running, origin: str) -> None:
    with pytest.raises(HTTPClientError) as refused:
        talk(desk, lambda join: join(Origin=origin))
    assert refused.value.code == 403


def test_figures_are_those_of_the_proof_and_of_run(desk: Running) -> None:
    async def asked(join: Join) -> Any:
        line = await join()
        return await line.ask(1, {"store.water_litres": 120, "coil.fans": "1"})

    told = talk(desk, asked)
    site = load_site("demo", {"store.water_litres": 120, "coil.fans": 1})
    base = scenarios.single(site, None, 7)
    results = [running.bench(site, replace(base, variant=v)).run(7).summary(28) for v in VARIANTS]
    rows = {row[0]: row[1:] for row in told["figures"]["rows"]}
    assert rows["wanted hours below 28 °C"] == [
        f"{100 * r['wanted_share_within']:.1f} %" for r in results
    ]
    assert rows["electricity of the week"] == [f"{r['energy_kwh']:.1f} kWh" for r in results]
    assert rows["what it costs"] == [f"{r['cost']:.2f} EUR" for r in results]
    kept = 100 * min(r["wanted_share_within"] for r in results) >= 90
    assert told["kept"] is kept
    assert told["answer"].startswith("Yes" if kept else "No")
    assert len(told["chart"]["room"]["weakest"]) == 7 * 24 * 4
    assert len(told["days"]["rows"]) == 7


def test_the_weakest_reading_comes_first_and_says_that_the_others_follow(desk: Running) -> None:
    async def asked(join: Join) -> Any:
        line = await join()
        told = []
        for n in range(1, 6):  # where all three are done at once nothing comes first
            await line.say(ask=n, values={"store.water_litres": 114 + n}, urgent=True)
            told.append(await line.hear("first", "week"))
            if told[-1]["kind"] == "first":
                return told[-1], await line.hear("week")
        raise AssertionError(told)

    first, whole = talk(desk, asked)
    assert first["n"] == whole["n"]
    assert first["column"] == [row[1] for row in whole["figures"]["rows"]]
    assert first["room"] == whole["chart"]["room"]["weakest"]
    share = first["column"][0]
    assert first["answer"] == (
        f"So far: below 28 °C in {share} of the wanted hours on the weakest reading of the "
        "labels; the strongest and middle readings are being worked out."
    )
    assert share in whole["answer"]


def test_the_sheet_s_figures_are_those_of_size(desk: Running) -> None:
    from springhouse_host.sheet import sizing

    async def asked(join: Join) -> Any:
        line = await join()
        await line.ask(1, {"store.water_litres": 110})
        parts = await line.hear("parts")
        return parts, await line.hear("sheet")

    parts, told = talk(desk, asked)
    sheet = sizing.size(load_site("demo", {"store.water_litres": 110}), variants=("low",))
    low = sheet.sheets["low"]
    rows = {row[0]: row[1] for row in told["sheet"]["rows"]}
    assert rows["one charge holds the room"] == f"{low.held_h:.1f} h"
    assert rows["one charge cools at all"] == f"{low.useful_h:.1f} h"
    assert rows["held, everything off"] == f"{low.hold_days:.1f} d"
    assert low.limits[0].name in told["first"]
    assert parts["parts"]["rows"][0][0] == "relay for the freezer"


def test_of_many_requests_the_last_is_answered(desk: Running) -> None:
    async def asked(join: Join) -> list[int]:
        line = await join()
        await line.ask(1, {})
        for n in range(2, 42):
            await line.say(ask=n, values={"store.water_litres": 100 + n}, urgent=False)
        heard = [0]
        while heard[-1] != 41:
            heard.append((await line.hear("week"))["n"])
        return heard

    heard = talk(desk, asked)
    assert heard == sorted(heard)
    assert len(heard) < 20, "those in between are dropped"


def test_an_urgent_request_stops_what_is_under_way(desk: Running) -> None:
    async def asked(join: Join) -> list[int]:
        line = await join()
        await line.ask(1, {})
        await line.say(ask=2, values={"store.water_litres": 111}, urgent=False)
        await line.say(ask=3, values={"store.water_litres": 112}, urgent=True)
        await line.say(ask=4, values={"store.water_litres": 112}, urgent=True)
        return [(await line.hear("week"))["n"]]

    assert talk(desk, asked) == [4]


def test_pages_do_not_hear_each_other(desk: Running) -> None:
    async def asked(join: Join) -> list[str]:
        one, two = await join(), await join()
        told = await asyncio.gather(
            one.ask(7, {"store.water_litres": 100}), two.ask(7, {"store.water_litres": 190})
        )
        return [said["drawing"]["texts"]["store"] for said in told]

    assert talk(desk, asked) == ["100 L of water", "190 L of water"]


def test_one_page_too_many_is_told(desk: Running) -> None:
    async def asked(join: Join) -> Any:
        lines = [await join() for _ in range(newest.PAGES_MOST)]
        for line in lines:
            await line.hear("begin")
        return await (await join()).hear("full")

    assert talk(desk, asked) == {"kind": "full", "most": newest.PAGES_MOST}

    async def again(join: Join) -> Any:
        while True:  # the places are free once the desk has seen the lines close
            line = await join()
            if (await line.hear("begin", "full"))["kind"] == "begin":
                return
            await line.close()

    talk(desk, again)


BAD = {
    "store.water_litres": 900,
    "coil.rows": 2.5,
    "schedule.wanted": "mon-fri 13:30-25:30",
    "settings.deep_target_c": "cold",
    "coil.fan_m3_h": "",
}


def test_bad_values_are_refused_in_the_words_of_the_command_line(desk: Running) -> None:
    async def asked(join: Join) -> tuple[Any, Any]:
        line = await join()
        refused = await line.ask(1, BAD)
        return refused, await line.ask(2, {})

    refused, good = talk(desk, asked)
    path = file_of(desk)
    with pytest.raises(SiteError) as error:
        load_site(path, choices.changes_of(load_site(path), BAD, False))
    assert [one["text"] for one in refused["lines"]] == error.value.lines
    by_key = {one["key"]: one["text"] for one in refused["lines"]}
    assert set(BAD) <= set(by_key)
    assert by_key["coil.rows"] == f"{path}: coil.rows: 2.5: a whole number from 1 to 12"
    assert good["kind"] == "week"


def file_of(desk: Running) -> str:
    async def asked(join: Join) -> str:
        return str((await (await join()).hear("begin"))["file"])

    return talk(desk, asked)


@pytest.mark.parametrize(
    "said",
    ['["ask"]', "{", '{"ask": 1, "values": [1]}', '{"ask": 1, "values": {"coil.fans": {}}}'],
)
def test_what_is_no_request_does_no_harm(desk: Running, said: str) -> None:
    async def asked(join: Join) -> Any:
        line = await join()
        await line.say_text(said)
        with suppress(EOFError):
            await line.hear("refused")
        return await (await join()).ask(1, {})

    assert talk(desk, asked)["kind"] == "week"


def test_a_key_of_another_s_is_refused(desk: Running) -> None:
    async def asked(join: Join) -> Any:
        return await (await join()).ask(1, {"site.name": "x"})

    assert "site.name: not to be changed here" in str(talk(desk, asked)["lines"])


def test_keep_writes_another_file_with_its_comments(desk: Running) -> None:
    def asked(values: dict[str, Any]) -> Any:
        async def keeping(join: Join) -> Any:
            line = await join()
            await line.say(keep=True, values=values)
            return await line.hear("kept", "refused")

        return talk(desk, keeping)

    path = Path(file_of(desk))
    before = path.read_bytes()
    values = {"store.water_litres": 120, "sensors.fan_tach": True, "schedule.full_by": ""}
    kept = Path(asked(values)["path"])
    assert path.read_bytes() == before
    assert kept == path.with_name("site-2.toml")
    text = kept.read_text("utf-8")
    comments = re.findall(r"#.*", before.decode())
    assert [c for c in comments if c not in text] == []
    assert "water_litres = 120 # by bucket" in text
    asked_for = {
        "store.water_litres": 120, "sensors.fan_tach": "fitted", "schedule.full_by": None
    }  # fmt: skip
    assert load_site(kept).file == load_site(path, asked_for).file
    assert asked(values)["path"] == str(kept), "the same changes are kept once"
    other = asked({"store.water_litres": 121})["path"]
    assert other == str(path.with_name("site-3.toml"))
    refused = asked({})
    assert "nothing is changed" in refused["lines"][0]["text"]
    refused = asked({"store.water_litres": 900})
    assert refused["lines"][-1]["key"] == "store.water_litres"
    assert not path.with_name("site-4.toml").exists()


def test_a_file_written_meanwhile_is_told(tmp_path: Path) -> None:
    path = own_site(tmp_path)
    with opened(str(path), cwd=tmp_path) as desk:
        path.write_text(path.read_text("utf-8") + "\n", "utf-8")

        async def asked(join: Join) -> Any:
            return await (await join()).ask(1, {})

        assert "written since the desk was opened" in str(talk(desk, asked))


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_closes_it_with_all_its_processes(tmp_path: Path, number: signal.Signals) -> None:
    with opened("demo", cwd=tmp_path) as desk:

        async def asked(join: Join) -> None:
            line = await join()
            await line.hear("begin")
            await line.say(ask=1, values={}, urgent=True)

        talk(desk, asked)
        workers = _children(desk.process.pid)
        desk.process.send_signal(number)
        out, err = desk.process.communicate(timeout=HANG_S)
        code = 0 if number == signal.SIGINT else 128 + number
        assert desk.process.returncode == code, err
        assert "Traceback" not in err
        if number == signal.SIGINT:
            assert out == "desk closed\n"
        while [pid for pid in workers if _lives(pid)]:  # for ever, if one is left
            time.sleep(0.1)
    with pytest.raises(urllib.error.URLError):
        urllib.request.urlopen(desk.address, timeout=HANG_S)


def _children(pid: int) -> list[int]:
    try:
        text = Path(f"/proc/{pid}/task/{pid}/children").read_text()
    except OSError:
        return []
    return [int(word) for word in text.split()]


def _lives(pid: int) -> bool:
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except OSError:
        return False
    return state != "Z"


@pytest.mark.slow
def test_the_proof_on_the_desk_says_what_the_command_says(tmp_path: Path) -> None:
    with opened("demo", cwd=tmp_path) as desk:

        async def asked(join: Join) -> tuple[list[Any], Any]:
            line = await join()
            await line.say(prove=True, values={})
            heard = []
            while not heard or not {"report", "refused"} & set(heard[-1]):
                heard.append(await line.hear("proof"))
            return heard, got(desk.address + "report")

        heard, (status, headers, page) = talk(desk, asked)
    verdict = next(said for said in heard if "headline" in said)
    assert verdict["headline"].startswith("recording room: KEPT - ESTIMATE")
    steps = [said["done"] for said in heard if said.get("doing") == "proving" and said["total"]]
    assert steps == sorted(steps)
    assert len(steps) > 10
    assert status == 200
    assert headers["Content-Security-Policy"].startswith("sandbox")
    assert b"Kept, in simulation" in page
    assert (tmp_path / "demo.verdict.json").exists()
