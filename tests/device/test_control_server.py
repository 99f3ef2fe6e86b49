import json
import logging
import socket
import stat
import threading
from contextlib import suppress

import pytest

from device.control_server import ControlServer
from shared.errors import Refused
from shared.protocol import control as c
from shared.protocol.control_client import ControlClient, DeviceFault, DeviceGone
from shared.protocol.wire import LONGEST_MESSAGE_BYTES, encoded
from tests.bench.running_demo import wait_for


def handle(request):
    match request:
        case c.ListRecordings():
            return c.Recordings((c.RecordingSummary("one", "2031-05-04T09:41:00", "K7", 1.5, 45, 0, 12.5, True),))
        case c.TakeStill():
            return c.Taken("still-1")
        case c.RemoveRegion(name):
            raise Refused("no region has this name", name, "choose one that is shown")
        case c.AddNote(text):
            raise ZeroDivisionError(text)
    raise AssertionError(request)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "control.sock"


@pytest.fixture
def server(path):
    with ControlServer(path, handle) as server:
        yield server


@pytest.fixture
def client(path, server):
    with ControlClient(path) as client:
        yield client


def raw(path, *lines):
    """Connection that has said these lines."""
    line = socket.socket(socket.AF_UNIX)
    line.settimeout(10)
    line.connect(str(path))
    if lines:
        line.sendall(b"".join(lines))
    return line


HELLO = encoded(c.Hello()) + b"\n"


def answers(line):
    """All that comes until the server hangs up."""
    data = b""
    with line:
        while more := line.recv(65_536):
            data += more
    return [json.loads(text) for text in data.splitlines()]


def answer(line):
    """The next answer, the connection staying open."""
    data = b""
    while not data.endswith(b"\n"):
        more = line.recv(65_536)
        assert more, "the server hung up"
        data += more
    return json.loads(data)


def test_request_and_answer_keep_their_types(client):
    recordings = client.ask_for(c.Recordings, c.ListRecordings())
    assert recordings.recordings[0] == c.RecordingSummary("one", "2031-05-04T09:41:00", "K7", 1.5, 45, 0, 12.5, True)
    assert client.ask(c.TakeStill()) == c.Taken("still-1")


def test_refusal_comes_back_as_the_same_line(client):
    with pytest.raises(Refused, match=r"^no region has this name: tip; choose one that is shown$") as refusal:
        client.ask(c.RemoveRegion("tip"))
    assert not isinstance(refusal.value, DeviceFault)
    assert client.ask(c.TakeStill()) == c.Taken("still-1")


def test_handlers_mistake_is_a_fault_with_its_traceback_in_the_log(client, caplog):
    with caplog.at_level(logging.ERROR), pytest.raises(DeviceFault, match="the device failed: ZeroDivisionError"):
        client.ask(c.AddNote("boom"))
    assert "Traceback" in caplog.text
    assert "boom" in caplog.text
    assert client.ask(c.TakeStill()) == c.Taken("still-1")


def test_wrong_kind_of_answer_is_a_fault(client):
    with pytest.raises(DeviceFault, match="answered Taken where State was due"):
        client.ask_for(c.State, c.TakeStill())


def test_answer_that_cannot_be_sent_is_a_fault(path):
    nan = c.ExportJob(1, "r", "t", float("nan"), False)
    refused = pytest.raises(DeviceFault, match="cannot be sent")
    with ControlServer(path, lambda _: nan), ControlClient(path) as client, refused:
        client.ask(c.GetState())


@pytest.mark.parametrize(
    ("said", "line"),
    [
        (b'{"kind":"Hello","version":3}\n', "protocol version not spoken here: 3; this imager speaks 2"),
        (b'{"kind":"GetState"}\n', "unknown kind of message: GetState; known: Hello"),
        (b"GET / HTTP/1.1\n", "message is not JSON: GET / HTTP/1.1; send one JSON object a line"),
        (b"\xff\xfe\x00\n", "message is not JSON"),
        (b"[" * 100_000 + b"\n", "message is not JSON"),
        (b"x" * (LONGEST_MESSAGE_BYTES + 70_000), "message too long"),
    ],
)
def test_whoever_greets_wrongly_is_told_why_and_hung_up_on(path, server, said, line, client):
    connection = raw(path)
    data = b""
    with connection:
        with suppress(BrokenPipeError):  # the server may have enough before all is said
            connection.sendall(said)
        with suppress(ConnectionResetError):
            while more := connection.recv(65_536):
                data += more
    problem = json.loads(data)
    assert problem["kind"] == "Problem"
    assert problem["line"].startswith(line)
    assert client.ask(c.TakeStill()) == c.Taken("still-1")


@pytest.mark.parametrize(
    ("said", "line"),
    [
        (b"{}\n", "unknown kind of message"),
        (b'{"kind":"SetView","view":"gray"}\n', "SetView: view is not one of grey, relative, side by side: gray"),
        (b'{"kind":"SetView"}\n', "SetView: missing key: view"),
        (b'{"kind":"TakeStill","also":1}\n', "TakeStill: unknown key: also"),
        (HELLO, "Hello comes once"),
    ],
)
def test_wrong_request_is_refused_and_the_conversation_goes_on(path, server, said, line):
    connection = raw(path, HELLO, said)
    assert answer(connection)["line"].startswith(line)
    connection.sendall(encoded(c.TakeStill()) + b"\n")
    assert answer(connection) == {"kind": "Taken", "name": "still-1"}
    connection.close()


def test_requests_may_come_in_pieces_and_in_bunches(path, server):
    request = encoded(c.TakeStill()) + b"\n"
    connection = raw(path, HELLO[:5])
    connection.sendall(HELLO[5:] + request + request + request[:7])
    connection.sendall(request[7:])
    connection.shutdown(socket.SHUT_WR)
    assert answers(connection) == [{"kind": "Taken", "name": "still-1"}] * 3


def test_silent_slow_and_deaf_clients_are_hung_up_on_and_harm_nobody(path):
    def long_answer(_):
        return c.Taken("x" * 200_000)

    with ControlServer(path, long_answer, patience_s=0.2, idle_s=0.2), ControlClient(path) as client:
        silent = raw(path)
        slow = raw(path, HELLO, b'{"kind":')
        idle = raw(path, HELLO)
        deaf = raw(path, HELLO, (encoded(c.TakeStill()) + b"\n") * 50)
        assert len(client.ask(c.TakeStill()).name) == 200_000
        first = client._socket
        for connection in (silent, slow, idle):
            assert answers(connection) == []
        threads = [thread for thread in threading.enumerate() if thread.name == "control client"]
        for thread in threads:
            thread.join(10)
        assert not any(thread.is_alive() for thread in threads)
        deaf.close()
        assert len(client.ask(c.TakeStill()).name) == 200_000  # its own connection was idle too long: it makes another
        assert client._socket is not first


def test_a_slow_request_holds_up_nobody_else(path):
    begun, go_on = threading.Event(), threading.Event()

    def slow(request):
        if isinstance(request, c.TakeStill):
            begun.set()
            assert go_on.wait(10)
        return c.Taken("done")

    with ControlServer(path, slow), ControlClient(path) as one, ControlClient(path) as other:
        first = threading.Thread(target=one.ask, args=(c.TakeStill(),))
        first.start()
        assert begun.wait(10)
        assert other.ask(c.Light("off")) == c.Taken("done")
        assert first.is_alive()
        go_on.set()
        first.join(10)


def test_too_many_clients_are_turned_away_with_a_line(path):
    with ControlServer(path, handle, most_clients=2):
        inside = [raw(path, HELLO, encoded(c.TakeStill()) + b"\n") for _ in range(2)]
        for connection in inside:
            assert answer(connection)["kind"] == "Taken"
        (problem,) = answers(raw(path))
        assert "too many programs" in problem["line"]
        for connection in inside:
            connection.close()


def test_socket_is_for_owner_and_group_and_a_stale_one_is_replaced(path):
    left = socket.socket(socket.AF_UNIX)
    left.bind(str(path))
    left.close()  # the file stays, as after a kill
    with ControlServer(path, handle), ControlClient(path) as client:
        assert stat.S_IMODE(path.stat().st_mode) == 0o660
        assert client.ask(c.TakeStill()) == c.Taken("still-1")
    assert not path.exists()


def test_second_server_is_refused_and_the_first_goes_on(path, server, client):
    with pytest.raises(Refused, match="another imager serves this run folder"):
        ControlServer(path, handle)
    assert client.ask(c.TakeStill()) == c.Taken("still-1")


def test_who_asks_for_the_end_is_answered(path):
    """As when the page has a calibration put in force: the imager ends, and starts again."""
    closing = []

    def end(_):
        closing.append(threading.Thread(target=server.close))
        closing[0].start()
        wait_for(lambda: not path.exists(), "the server on its way to its end")
        return c.Taken("ending")

    server = ControlServer(path, end)
    with ControlClient(path) as client:
        assert client.ask(c.TakeStill()) == c.Taken("ending")
    closing[0].join(timeout=10)
    assert not closing[0].is_alive()


def test_an_end_does_not_wait_for_the_deaf(path):
    answering = threading.Event()

    def at_length(_):
        answering.set()
        return c.Problem("x" * (8 << 20))

    server = ControlServer(path, at_length, patience_s=60.0)
    with raw(path, HELLO, encoded(c.TakeStill()) + b"\n"):
        assert answering.wait(10)
        closing = threading.Thread(target=server.close)
        closing.start()
        closing.join(timeout=10)
        assert not closing.is_alive()


def test_client_finds_the_server_again_after_a_restart(path):
    with ControlClient(path) as client:
        with pytest.raises(DeviceGone, match="does not answer"):
            client.ask(c.TakeStill())
        for _ in range(3):
            with ControlServer(path, handle):
                assert client.ask(c.TakeStill()) == c.Taken("still-1")
            with pytest.raises(DeviceGone):
                client.ask(c.TakeStill())


def test_client_gives_up_on_a_server_that_never_answers(path):
    with socket.socket(socket.AF_UNIX) as mute:
        mute.bind(str(path))
        mute.listen()
        with ControlClient(path, timeout_s=0.1) as client, pytest.raises(DeviceGone, match="did not answer in time"):
            client.ask(c.TakeStill())


def test_client_never_asks_twice(path):
    """Answer lost on the way: what was asked may have taken effect, so it is not asked again."""
    asked = []
    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind(str(path))
        listener.listen()

        def drop():
            connection, _ = listener.accept()
            with connection:
                while b"Light" not in (data := connection.recv(65_536)):
                    pass
                asked.append(data)

        dropping = threading.Thread(target=drop)
        dropping.start()
        with ControlClient(path) as client, pytest.raises(DeviceGone):
            client.ask(c.Light("brighter"))
        dropping.join(10)
    assert len(asked) == 1


@pytest.mark.parametrize("said", [b"nonsense\n", b'{"kind":"GetState"}\n', b'{"kind":"Taken"}\n'])
def test_answer_that_is_none_is_a_fault(path, said):
    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind(str(path))
        listener.listen()

        def babble():
            connection, _ = listener.accept()
            with connection:
                connection.sendall(said)
                while connection.recv(65_536):
                    pass

        babbling = threading.Thread(target=babble)
        babbling.start()
        with ControlClient(path) as client, pytest.raises(DeviceFault, match="not understood"):
            client.ask(c.TakeStill())
        babbling.join(10)


def test_a_list_of_ten_thousand_recordings_passes(path):
    one = c.RecordingSummary("K7-Heron-00001", "2031-05-04T09:41:00", "K7-Heron", 93.25, 2796, 0, 4100.5, True)
    many = c.Recordings((one,) * 10_000)
    with ControlServer(path, lambda _: many, patience_s=60), ControlClient(path, timeout_s=60) as client:
        assert client.ask(c.ListRecordings()) == many
