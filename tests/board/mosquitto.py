"""A real Mosquitto broker on a free loopback port, and a listener; both end with the test."""

import getpass
import shutil
import subprocess
import time
from pathlib import Path

WAIT_S = 10.0


def program(name: str) -> str:
    """Path of a program of the Debian packages.

    Raises:
        FileNotFoundError: it is not installed.
    """
    found = shutil.which(name) or shutil.which(name, path="/usr/sbin:/usr/bin")
    if found is None:
        raise FileNotFoundError(f"{name}: not installed: run `make test-services` as root")
    return found


class Mosquitto:
    """A broker that can be stopped and started again on its port; `log` is what it wrote."""

    def __init__(self, folder: Path, port: int, login: tuple[str, str] | None = None) -> None:
        self.port = port
        self._log = folder / "broker.log"
        self._config = folder / "broker.conf"
        lines = [
            f"listener {port} 127.0.0.1",
            f"user {getpass.getuser()}",  # started by root it would give its rights away
            "persistence false",
            "log_dest stderr",
            "log_type all",
            f"allow_anonymous {'false' if login else 'true'}",
        ]
        if login:
            users = folder / "users"
            users.touch(mode=0o600)
            subprocess.run([program("mosquitto_passwd"), "-b", str(users), *login], check=True)
            lines.append(f"password_file {users}")
        self._config.write_text("\n".join(lines) + "\n")
        self._process: subprocess.Popen | None = None

    def start(self) -> "Mosquitto":
        """Start and wait until it listens."""
        before = self.log().count("running")
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(
                [program("mosquitto"), "-c", str(self._config)], stderr=log
            )
        wait_for(lambda: self.log().count("running") > before, "the broker does not start")
        return self

    def stop(self) -> None:
        """End it; its clients see the connection close."""
        if self._process is not None:
            self._process.terminate()
            self._process.wait(WAIT_S)
            self._process = None

    def log(self) -> str:
        return self._log.read_text() if self._log.exists() else ""


class Listener:
    """Everything published, as (topic, message)."""

    def __init__(self, folder: Path, port: int, login: tuple[str, str] | None = None) -> None:
        self._file = folder / "heard"
        user = ["-u", login[0], "-P", login[1]] if login else []
        command = [program("mosquitto_sub"), "-h", "127.0.0.1", "-p", str(port), "-t", "#", "-v"]
        with self._file.open("wb") as out:
            self._process = subprocess.Popen([*command, *user], stdout=out)

    def heard(self) -> list[tuple[str, str]]:
        whole = self._file.read_text().split("\n")[:-1]
        return [tuple(line.split(" ", 1)) for line in whole]

    def close(self) -> None:
        self._process.terminate()
        self._process.wait(WAIT_S)


def wait_for(true, what: str) -> None:
    """Look until it is so.

    Raises:
        TimeoutError: it does not come about.
    """
    until = time.monotonic() + WAIT_S
    while not true():
        if time.monotonic() > until:
            raise TimeoutError(what)
        time.sleep(0.02)
