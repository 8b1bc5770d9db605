"""A local OpenID provider for tests, from the package registry, in a folder of its own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from tempfile import gettempdir

import pytest
from dash_help import free_port

PACKAGE = "oidc-provider-mock==0.3.4"


def folder() -> Path:
    """Return where the provider is installed; skip, with what pip said, where it cannot be."""
    found = Path(os.environ.get("RISKRULES_OIDC", Path(gettempdir()) / "riskrules-oidc-0.3.4"))
    if not (found / "oidc_provider_mock").is_dir():
        words = [sys.executable, "-m", "pip", "install", "-q", "--target", str(found), PACKAGE]
        done = subprocess.run(words, capture_output=True, text=True, timeout=600, check=False)
        if done.returncode:
            pytest.skip(f"pip could not install {PACKAGE}: {done.stderr[-300:]}")
    return found


@contextmanager
def provider(emails: dict[str, bool]) -> Iterator[str]:
    """Run the provider with people by address, and whether it is verified; yield its address."""
    port = free_port()
    words = [sys.executable, "-W", "ignore", "-m", "oidc_provider_mock", "--port", str(port)]
    for email, verified in emails.items():
        claims = {"sub": email, "email": email, "email_verified": verified}
        words += ["--user-claims", json.dumps(claims)]
    env = {**os.environ, "PYTHONPATH": str(folder())}
    child = subprocess.Popen(words, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    url = f"http://127.0.0.1:{port}"
    try:
        end = time.monotonic() + 30
        while time.monotonic() < end and child.poll() is None:
            with (
                suppress(OSError),
                urllib.request.urlopen(f"{url}/.well-known/openid-configuration"),
            ):
                break
            time.sleep(0.2)
        assert child.poll() is None, "the provider ended"
        yield url
    finally:
        child.terminate()
        child.wait(10)


def secrets_of(provider_url: str, pages: str) -> str:
    """Return the secrets file by which Streamlit knows the provider."""
    return (
        f'[auth]\nredirect_uri = "{pages}/oauth2callback"\ncookie_secret = "{"s" * 40}"\n'
        'client_id = "farm"\nclient_secret = "secret"\n'
        f'server_metadata_url = "{provider_url}/.well-known/openid-configuration"\n'
    )
