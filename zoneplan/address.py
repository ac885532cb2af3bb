"""Whom the app serves: this machine, unless a person says by name that others may come."""

from ipaddress import ip_address

ALLOW_OTHERS = "--allow-others"
WHAT_IT_MEANS = (
    "Whoever can reach this machine's address may then use the app without a password, send it "
    "files, fill its memory, and open any plan whose link they were given."
)


def is_this_machine(name: str) -> bool:
    """Whether only this machine can reach an address.

    >>> [is_this_machine(name) for name in ("localhost", "127.0.0.2", "::1", "0.0.0.0", "field-pc")]
    [True, True, True, False, False]
    """
    bare = name.strip("[]").lower()
    if bare == "localhost" or bare.endswith(".localhost"):
        return True
    try:
        return ip_address(bare).is_loopback
    except ValueError:
        return False


def everywhere(address: str) -> bool:
    """Whether an address stands for all that this machine has."""
    return address in ("0.0.0.0", "::")  # noqa: S104 it is asked about, not used


def refusal(address: str | None) -> str:
    """Say why an address is refused, and what to do.

    Parameters
    ----------
    address : str or None
        What was asked for; None where nothing was, which is every address of this machine.
    """
    subject = address or "every address of this machine, for none is set,"
    return (
        f"{subject} can be reached from other machines, and the app serves this one alone.\n"
        f"{WHAT_IT_MEANS}\n"
        f"If that is meant, add {ALLOW_OTHERS}: zoneplan app --address ADDRESS {ALLOW_OTHERS}, "
        f"or streamlit run app.py --server.address=ADDRESS -- {ALLOW_OTHERS}\n"
        "If not, leave the address out."
    )
