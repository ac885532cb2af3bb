"""`zoneplan app`: the same on a screen."""

import os
import signal
import socket
import subprocess
import sys
from pathlib import Path

import click

from zoneplan.address import ALLOW_OTHERS, WHAT_IT_MEANS, everywhere, is_this_machine, refusal
from zoneplan.errors import ZoneplanError

_PACKAGE = Path(__file__).parents[1]
_SCRIPTS = (_PACKAGE / "pages" / "app.py", _PACKAGE.parent / "app.py")  # installed; checked out
_ANSWER_S = 1.0
_SETTINGS = Path(".streamlit", "config.toml")  # beside a script they hold in any folder


@click.command()
@click.option(
    "--port",
    type=click.IntRange(1, 65535),
    metavar="N",
    help="Port to serve at. From 8501 on the first that is free, unless given.",
)
@click.option("--no-browser", is_flag=True, help="Do not open a browser; print the address.")
@click.option(
    "--address",
    metavar="ADDRESS",
    help=f"Address to serve at. One that other machines can reach needs {ALLOW_OTHERS}.",
)
@click.option(ALLOW_OTHERS, is_flag=True, help=f"Serve other machines too. {WHAT_IT_MEANS}")
@click.option(
    "--book",
    metavar="BOOK",
    help="Show a book of many growers: a file, or the address of a PostgreSQL database.",
)
@click.option(
    "--sign-in",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    metavar="FILE",
    help="Let people sign in: a TOML file of a provider ([auth]) and of who may what ([roles]).",
)
def app(
    port: int | None,
    address: str | None,
    *,
    no_browser: bool,
    allow_others: bool,
    book: str | None,
    sign_in: Path | None,
) -> None:
    """Plan a field on a screen: open the app in a browser on this machine.

    Nothing is fetched from the internet, and no other machine is served unless you say so.
    Ctrl-C ends it.

    \b
    Example:
      zoneplan app --port 8600
      zoneplan app --book season.book
    """
    if allow_others and not address:
        raise click.UsageError(f"{ALLOW_OTHERS} needs --address: say where others find it.")
    if address and not is_this_machine(address) and not allow_others:
        raise ZoneplanError(refusal(address))
    # -P: a file of the folder it is started in takes no module's place.
    command = [sys.executable, "-P", "-m", "streamlit", "run", str(_script())]
    if port:
        _refuse_busy(port)
        command.append(f"--server.port={port}")
    if no_browser:
        command.append("--server.headless=true")
    if address:
        called = socket.gethostname() if everywhere(address) else address
        command += [f"--server.address={address}", f"--browser.serverAddress={called}"]
    if sign_in:
        command.append(f"--secrets.files={sign_in.resolve()}")
    if allow_others:
        command += ["--", ALLOW_OTHERS]
    sys.exit(_served(command, _environment(book, sign_in)))


def _environment(book: str | None, sign_in: Path | None) -> dict[str, str]:
    """What the server is told beside its line, which anybody on this machine can read."""
    if book and "://" not in book:
        book = str(Path(book).resolve())
    named = {"ZONEPLAN_BOOK": book, "ZONEPLAN_SIGN_IN": sign_in and str(sign_in.resolve())}
    plain = {name: value for name, value in os.environ.items() if name not in named}
    return plain | {name: value for name, value in named.items() if value}


def _script() -> Path:
    for script in _SCRIPTS:
        if (script.parent / _SETTINGS).exists():
            return script
    raise ZoneplanError(
        f"The app's settings are not here: looked for {_SETTINGS} in "
        + " and ".join(str(script.parent) for script in _SCRIPTS)
        + ".\nWithout them it would serve other machines too.\nInstall zoneplan again."
    )


def _refuse_busy(port: int) -> None:
    with socket.socket() as probe:
        probe.settimeout(_ANSWER_S)
        if probe.connect_ex(("localhost", port)) == 0:
            raise ZoneplanError(
                f"Port {port} is busy: something answers there already.\n"
                "Look there whether it is the app, end it, or name another --port."
            )


def _served(command: list[str], environment: dict[str, str]) -> int:
    """Serve until it ends or is ended, and say how it went."""
    with subprocess.Popen(command, env=environment) as server:  # noqa: S603 the command is ours
        signal.signal(signal.SIGTERM, lambda *_: server.terminate())
        try:
            return server.wait()
        except KeyboardInterrupt:  # it was told, too
            server.terminate()
            server.wait()
            return 0
