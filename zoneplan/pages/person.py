"""Who is at the page, and what he may do: signed in by a provider, or whoever sits at this machine.

The file that names a provider is given by who starts the app. It is the framework's own, with a
table of roles beside: [auth] says where people sign in, [roles] what each may do, by his e-mail
address.
"""

import getpass
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import partial
from importlib.util import find_spec
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import streamlit as st

from zoneplan import forms
from zoneplan.address import is_this_machine
from zoneplan.errors import ZoneplanError, in_short
from zoneplan.forms import Place, Reader, need
from zoneplan.harmless import escape
from zoneplan.pages.fault import fault
from zoneplan.pages.words import header
from zoneplan.plain_file import toml_file

REFUSED = "refused"  # what the page was not let do, until it is said
SIGN_IN = "ZONEPLAN_SIGN_IN"  # the variable that names the file
_CALLBACK = "/oauth2callback"
_LEAST_SECRET = 32  # letters


class Role(StrEnum):
    """What somebody may do in a shared book; each may what those after it may."""

    EDITS = "edits"
    REVIEWS = "reviews"
    READS = "reads"


@dataclass(frozen=True)
class Person:
    """Who is at the page."""

    name: str  # as the book's history has it
    role: Role

    def may(self, role: Role) -> bool:
        """Whether he may do what asks for a role."""
        roles = [*Role]
        return roles.index(self.role) <= roles.index(role)


class NotAllowedError(ZoneplanError):
    """Somebody asked for what his role does not allow."""


def person() -> Person | None:
    """Tell who is at the page; None where he has not signed in, or has no role here.

    Roles are read anew each time, so that one that is taken away is gone at once.
    """
    file = os.environ.get(SIGN_IN)
    if not file:
        return Person(_at_this_machine(), Role.EDITS)
    email = _signed_in()
    role = read_sign_in(Path(file)).get(email) if email else None
    return Person(email, role) if role else None


def allowed(role: Role) -> Person:
    """Give who is at the page, where he may do what asks for a role. Ask at each thing done.

    Raises
    ------
    NotAllowedError
        When he may not.
    """
    somebody = person()
    if somebody is None or not somebody.may(role):
        raise NotAllowedError(
            f"Your role here does not allow that: it asks for “{role}”.\n"
            "Nothing was changed. Ask whoever runs this server for the role."
        )
    return somebody


def do_as(role: Role, do: Callable[[str], None]) -> None:
    """Do something as who is at the page, where he may; keep what stops it under REFUSED."""
    try:
        do(allowed(role).name)
    except ZoneplanError as error:
        st.session_state[REFUSED] = error


def gate() -> Person | None:
    """Let people in who may be here; show others where to sign in."""
    try:
        somebody = person()
    except ZoneplanError as error:  # the file of roles is gone, or has a fault since
        st.html(fault(error))
        return None
    if somebody is not None:
        return somebody
    email = _signed_in()
    st.html(header("A shared book"))
    if email or st.user.get("is_logged_in"):
        why = (
            f"You are signed in as {escape(email)}, who has no role here."
            if email
            else "You are signed in, but the provider does not vouch for your e-mail address."
        )
        st.html(f'<p class="zp-needed" role="alert">{why} Ask whoever runs this server.</p>')
        st.button("Sign out", key="sign-out", on_click=st.logout)
    else:
        st.html(
            '<p class="zp-needed">Sign in to see it. Who may do what is said by whoever runs '
            "this server.</p>"
        )
        st.button("Sign in", key="sign-in", on_click=st.login, type="primary")
    return None


def sign_out_bar(somebody: Person) -> None:
    """Say who is signed in, and let him leave."""
    if not os.environ.get(SIGN_IN):
        return
    with st.container(horizontal=True, key="person"):
        st.html(f'<p class="zp-change">{escape(somebody.name)}, {somebody.role}</p>')
        st.button("Sign out", key="sign-out", on_click=st.logout, type="tertiary")


def read_sign_in(path: Path) -> Mapping[str, Role]:
    """Read the file: who has which role, by address in small letters.

    Raises
    ------
    ZoneplanError
        With every fault.
    """
    if find_spec("authlib") is None:
        raise ZoneplanError(
            "People cannot sign in here: a part is missing.\n"
            'Install it: pip install "zoneplan[server]"'
        )
    document = toml_file(path, ZoneplanError)
    read: dict[str, Any] = forms.checked(_FILE, document, path.name, ZoneplanError)
    roles: Mapping[str, Role] = read["roles"]
    return roles


def _signed_in() -> str:
    """The address that a provider vouches for, in so many words; empty where there is none."""
    if not st.user.get("is_logged_in") or st.user.get("email_verified") not in (True, "true"):
        return ""
    return str(st.user.get("email") or "").strip().casefold()


def _at_this_machine() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):  # who has no name
        return "this machine"


# ---- the file's form -----------------------------------------------------------------------------


def _callback(value: Any, place: Place) -> str | None:
    parts = urlsplit(value) if isinstance(value, str) else None
    if parts is None or not value.endswith(_CALLBACK) or not parts.hostname:
        place.fault(f"{in_short(value)} does not end as it must: https://NAME{_CALLBACK}")
    elif parts.scheme != "https" and not is_this_machine(parts.hostname):
        place.fault(f"{in_short(value)} is not https: a sign-in could be read on its way.")
    else:
        return str(value)
    return None


def _metadata(value: Any, place: Place) -> str | None:
    parts = urlsplit(value) if isinstance(value, str) else None
    if parts and parts.hostname and (parts.scheme == "https" or is_this_machine(parts.hostname)):
        return str(value)
    place.fault(f"{in_short(value)} is no address of a provider: https://….")
    return None


def _secret(value: Any, place: Place) -> str | None:
    if isinstance(value, str) and len(value) >= _LEAST_SECRET:
        return value
    place.fault(f"it is too short: {_LEAST_SECRET} letters at the least, drawn at random.")
    return None


def _roles(value: Any, place: Place) -> dict[str, Role] | None:
    if not forms.is_table(value, place):
        return None
    read = forms.one_of("role", tuple(Role))
    roles = {name.strip().casefold(): read(role, place.key(name)) for name, role in value.items()}
    if not roles:
        place.fault("nobody has a role.")
    return {name: Role(role) for name, role in roles.items() if role}


_need: partial[forms.Key] = partial(need, ask="See DEVELOPERS.md, “A shared server”.")
_AUTH: Reader = forms.table(
    {
        "redirect_uri": _need(_callback),
        "cookie_secret": _need(_secret),
        "client_id": _need(forms.text),
        "client_secret": _need(forms.text),
        "server_metadata_url": _need(_metadata),
    },
    others=True,
)
_FILE = forms.table({"auth": _need(_AUTH), "roles": _need(_roles)})
