"""A certificate of the station's own, made at the first start over TLS; used until it ends or names change.

The machine's ``openssl`` makes it (https://docs.openssl.org/3.0/man1/openssl-req/). Nobody vouches for it: a browser
warns once, and its fingerprint, shown at the start, tells whether it is this one.
"""

from __future__ import annotations

import hashlib
import ssl
from collections.abc import Iterable
from contextlib import suppress
from ipaddress import ip_address
from pathlib import Path

from linewright.core.errors import CannotError
from linewright.core.machine import make_private, ran
from linewright.core.messages import say
from linewright.store.opening import is_url
from linewright.verbs.names import usual_place

DAYS = 397
"""How long it is good for: as long as browsers take from anybody (CA/Browser Forum, Baseline Requirements 6.3.2)."""
LEFT_S = 30 * 24 * 3600
"""One that ends sooner is made anew at the next start."""
FILES = ("linewright-certificate.pem", "linewright-key.pem")


def own_certificate(ledger: str | None, names: Iterable[str]) -> tuple[str, str]:
    """Return the files of a certificate and of its key, beside the ledger; they are made where there are none.

    Parameters
    ----------
    ledger : str, optional
        A file or a URL; None: the usual place.
    names : iterable of str
        The names and addresses that the station answers to.

    Raises
    ------
    CannotError
        If there is no ``openssl``, or the files cannot be written.
    """
    folder = _folder(ledger)
    certificate, key = (folder / name for name in FILES)
    wanted = [_alternative(name.strip("[]")) for name in dict.fromkeys(names)]
    if not (key.is_file() and _good(certificate, wanted)):
        _make(certificate, key, wanted)
    return str(certificate), str(key)


def fingerprint(certificate: str) -> str:
    """Return the SHA-256 of a certificate, as browsers show it: pairs of digits with colons."""
    found = hashlib.sha256(ssl.PEM_cert_to_DER_cert(Path(certificate).read_text(encoding="ascii"))).hexdigest().upper()
    return ":".join(found[i : i + 2] for i in range(0, len(found), 2))


def _folder(ledger: str | None) -> Path:
    where = ledger or usual_place()
    if is_url(where):
        from platformdirs import user_data_path

        return user_data_path("linewright", appauthor=False)
    return Path(where).expanduser().parent


def _alternative(name: str) -> str:
    with suppress(ValueError):
        return f"IP:{ip_address(name)}"
    return f"DNS:{name}"


def _good(certificate: Path, wanted: Iterable[str]) -> bool:
    """Return whether a certificate lasts for a month more and bears every name."""
    if not certificate.is_file():
        return False
    asked = ("x509", "-in", str(certificate), "-noout", "-checkend", str(LEFT_S), "-ext", "subjectAltName")
    status, said, _ = _openssl(*asked)
    said = said.replace("IP Address:", "IP:").replace("0:0:0:0:0:0:0:1", "::1")
    there = {word.strip(" \n,") for word in said.replace(",", " ").split()}
    return status == 0 and set(wanted) <= there


def _make(certificate: Path, key: Path, wanted: Iterable[str]) -> None:
    try:
        key.parent.mkdir(parents=True, exist_ok=True)
        make_private(key)
    except OSError as cause:
        words = say("The key {path} cannot be written: {why}.", path=key, why=str(cause.strerror))
        raise CannotError(words) from cause
    status, _, told = _openssl(
        "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", str(DAYS),
        "-subj", "/CN=linewright", "-addext", f"subjectAltName={','.join(wanted)}",
        "-keyout", str(key), "-out", str(certificate),
    )  # fmt: skip
    if status:
        said = told.strip().splitlines()
        why = said[-1][:200] if said else say("no reason given")
        raise CannotError(say("No certificate could be made: {why}.", why=why))


def _openssl(*words: str) -> tuple[int, str, str]:
    try:
        return ran(["openssl", *words], 60.0)
    except OSError as cause:
        lacking = say(
            "A certificate is made by the program openssl, which cannot be run. Install openssl, or give a certificate"
            " with --certificate and --key."
        )
        raise CannotError(lacking) from cause
