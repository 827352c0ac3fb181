"""A job served to a client in this process."""

import pytest
from starlette.testclient import TestClient

from alignment.machine.layout_file import parse_layout
from alignment.phone.guard import COOKIE, Guard, Role
from alignment.phone.job import Job
from alignment.phone.server import make_app

HOST = "127.0.0.1:8000"
LAYOUT = """
[machine]
name = "Tray line"
units = "in"
[row.operator]
string = "operator"
target = "18 3/8"
[[section]]
name = "operator-1"
row = "operator"
start = "0"
length = "15"
bolts = ["2", "13"]
[[section]]
name = "operator-2"
row = "operator"
start = "16"
length = "15"
bolts = ["2", "13"]
"""


class Visitor:
    """A browser with or without a key, and what it sends along unless told otherwise."""

    def __init__(self, app, guard, role):
        self.client = TestClient(app, base_url=f"http://{HOST}", follow_redirects=False, raise_server_exceptions=False)
        if role is not None:
            self.client.cookies.set(COOKIE, guard.cookie_for(role))

    def get(self, path="/", **headers):
        """Look."""
        return self.client.get(path, headers=headers)

    def post(self, path="/answer", data=None, *, accept="application/json", origin=f"http://{HOST}", **headers):
        """Answer."""
        sent = {"accept": accept, **({"origin": origin} if origin else {}), **headers}
        body = {"content": data} if isinstance(data, (bytes, str)) else {"data": data or {}}
        return self.client.post(path, headers=sent, **body)


@pytest.fixture
def layout():
    return parse_layout(LAYOUT, "machine.toml")


@pytest.fixture
def log(tmp_path):
    return tmp_path / "job.csv"


@pytest.fixture
def job(layout, log):
    return Job(layout, log)


@pytest.fixture
def guard():
    return Guard(hosts=frozenset({HOST}))


@pytest.fixture
def visit(job, guard):
    app = make_app(job, guard)

    def make(role=Role.writer):
        return Visitor(app, guard, role)

    return make
