"""Detached signatures: Ed25519 (RFC 8032) over the very bytes of ``result.json``.

The signature is the 64 bytes of the standard in ``result.json.sig``, keys are PEM files (RFC 8410), so that
other tools make and check both::

    openssl genpkey -algorithm ed25519 -out signer.pem
    openssl pkey -in signer.pem -pubout -out signer-public.pem
    openssl pkeyutl -verify -rawin -pubin -inkey signer-public.pem -sigfile result.json.sig -in result.json

No key is ever made here. Needs the extra ``signing``.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from accuracy.errors import UsageError
from accuracy.findings import Finding, Severity

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

SIGNATURE_SUFFIX = ".sig"
_KEY_REMEDY = "make a key with: openssl genpkey -algorithm ed25519 -out signer.pem"


def sign(record: Path, key: Path, passphrase: Callable[[], str]) -> Path:
    """Sign a record; give the file of the signature, beside it.

    Parameters
    ----------
    key : Path
        Private key, Ed25519, PEM.
    passphrase : callable
        Asked only where the key is encrypted.

    Raises
    ------
    UsageError
        The key cannot be used, the extra is missing, or the signature cannot be written.
    """
    private = _private(key, passphrase)
    target = record.with_name(record.name + SIGNATURE_SUFFIX)
    try:
        target.write_bytes(private.sign(record.read_bytes()))
    except OSError as error:
        raise UsageError(
            f"the signature cannot be written: {error.strerror or error}", where=str(target)
        ) from error
    return target


def check_signature(
    content: bytes, record: Path, key: Path | None
) -> tuple[str | None, list[Finding]]:
    """Check the signature beside a record; say what is known of it.

    Raises
    ------
    UsageError
        The key cannot be used, or the extra is missing.
    """
    path = record.with_name(record.name + SIGNATURE_SUFFIX)
    if key is None:
        if path.is_file():
            return "there, not checked: name the signer's public key with --key", []
        return None, []
    public = _public(key)
    fingerprint = _fingerprint(public)
    if not path.is_file():
        return None, [
            _bad(f"there is no signature {path.name} beside the record, and --key asks for one")
        ]
    from cryptography.exceptions import InvalidSignature

    try:
        public.verify(path.read_bytes(), content)
    except InvalidSignature:
        told = "the signature is not that of this key over this record: one of them is another"
        return None, [_bad(told)]
    except OSError as error:
        return None, [_bad(f"the signature cannot be read: {error.strerror or error}")]
    return f"by the key {fingerprint}", []


def _bad(told: str) -> Finding:
    return Finding(
        "recheck-signature",
        Severity.BLOCKING,
        told,
        remedy="ask the signer for record, signature and public key",
    )


def _library() -> Any:
    try:
        from cryptography.hazmat.primitives import serialization
    except ImportError as error:
        raise UsageError(
            "signatures need the library cryptography",
            remedy="install it with: pip install 'accuracy[signing]'",
        ) from error
    return serialization


def _read(key: Path) -> bytes:
    try:
        return key.read_bytes()
    except OSError as error:
        raise UsageError(
            f"the key cannot be read: {error.strerror or error}",
            where=str(key),
            remedy=_KEY_REMEDY,
        ) from error


def _private(key: Path, passphrase: Callable[[], str]) -> Any:
    serialization = _library()
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    content = _read(key)
    try:
        try:
            private = serialization.load_pem_private_key(content, None)
        except TypeError:  # encrypted
            private = serialization.load_pem_private_key(content, passphrase().encode("utf-8"))
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        raise UsageError(
            "is no private key in PEM, or the passphrase is another",
            where=str(key),
            remedy=_KEY_REMEDY,
        ) from error
    if not isinstance(private, Ed25519PrivateKey):
        raise UsageError("is a key of another kind", where=str(key), remedy=_KEY_REMEDY)
    return private


def _public(key: Path) -> Ed25519PublicKey:
    serialization = _library()
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    remedy = "openssl pkey -in signer.pem -pubout -out signer-public.pem gives the public key"
    content = _read(key)
    if b"PRIVATE KEY" in content:
        raise UsageError(
            "is a private key, which nobody but the signer should have",
            where=str(key),
            remedy=remedy,
        )
    try:
        public = serialization.load_pem_public_key(content)
    except (ValueError, UnsupportedAlgorithm) as error:
        raise UsageError("is no public key in PEM", where=str(key), remedy=remedy) from error
    if not isinstance(public, Ed25519PublicKey):
        raise UsageError("is a key of another kind", where=str(key), remedy=remedy)
    return public


def _fingerprint(public: Ed25519PublicKey) -> str:
    """Give the first 16 hexadecimal digits of the SHA-256 of the 32 bytes of the key."""
    import hashlib

    return hashlib.sha256(public.public_bytes_raw()).hexdigest()[:16]
