"""The code folder's manifest: which firmware this is, and whether every file is as it was sent."""

import json
from hashlib import sha256

_CHUNK = 1024
NO_FIRMWARE = b"\0" * 32


def hash_file(path: str) -> str:
    """SHA-256 of a file in hex, "" if it cannot be read."""
    from binascii import hexlify

    digest = sha256()
    buffer = bytearray(_CHUNK)
    try:
        with open(path, "rb") as f:
            count = f.readinto(buffer)
            while count:
                digest.update(memoryview(buffer)[:count])
                count = f.readinto(buffer)
    except OSError:
        return ""
    return hexlify(digest.digest()).decode()


def verify(folder: str) -> "tuple[bytes, str]":
    """(firmware hash, what is wrong): no manifest is no fault, but no proof can be for it."""
    prefix = folder + "/" if folder else ""
    try:
        with open(prefix + "manifest.json") as f:
            manifest = json.load(f)
        firmware = bytes.fromhex(manifest["firmware_sha256"])
        files = manifest["files"]
    except OSError:
        return NO_FIRMWARE, ""
    except (ValueError, KeyError, TypeError):
        return NO_FIRMWARE, "manifest.json damaged"
    for name, want in files.items():
        if hash_file(prefix + name) != want:
            return NO_FIRMWARE, name + " damaged or missing"
    return firmware, ""
