"""A local OpenID provider for tests, in a process of its own."""

from __future__ import annotations

import json
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager, suppress

from dash_help import free_port, settled


@contextmanager
def provider(emails: dict[str, bool]) -> Iterator[str]:
    """Run the provider with people by address, and whether it is verified; yield its address."""
    port = free_port()
    words = [sys.executable, "-W", "ignore", "-m", "oidc_provider_mock", "--port", str(port)]
    for email, verified in emails.items():
        claims = {"sub": email, "email": email, "email_verified": verified}
        words += ["--user-claims", json.dumps(claims)]
    child = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
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


def sign_in(page, url: str, email: str) -> None:  # type: ignore[no-untyped-def]
    """Sign in at the provider as somebody, from the page that asks for it."""
    page.goto(url)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/oauth2/authorize**")
    page.locator("input[name=sub]").fill(email)
    page.get_by_role("button", name="Authorize").click()
    page.wait_for_url(url + "/**")
    settled(page)
