"""Text messages by HTTP to a real server of this process, and into files where the embedded size has no gateway."""

import json
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

from notifications.enums import Channel, MessageStatus
from notifications.models import ChannelState, Message
from tests.notifications.test_smtp_answers import add_messages, send
from tests.shop_records import NOW

ODD, GOOD, OTHER = "+1 555 0199", "+1 555 0101", "(555) 555-0102"
HANG_UP = 0


class Gateway(BaseHTTPRequestHandler):
    """Answers 202, or what the test wants for the odd number or for all."""

    protocol_version = "HTTP/1.1"
    answer, to_everybody = 202, False
    requests: list[tuple[dict[str, str], dict[str, str]]] = []
    connections = 0

    def setup(self) -> None:
        super().setup()
        type(self).connections += 1

    def do_POST(self) -> None:
        body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
        is_odd = self.to_everybody or body["to"] == ODD.replace(" ", "")
        status = self.answer if is_odd else 202
        if status == HANG_UP:
            self.close_connection = True
            return
        if status == 202:
            self.requests.append((dict(self.headers), body))
        self.send_response(status)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, *_: object) -> None:
        pass


@pytest.fixture
def gateway(db: None, settings: object) -> Iterator[type[Gateway]]:
    Gateway.answer, Gateway.to_everybody, Gateway.connections = 202, False, 0
    Gateway.requests = []
    server = ThreadingHTTPServer(("127.0.0.1", 0), Gateway)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    settings.TEXT_GATEWAY_URL = f"http://127.0.0.1:{server.server_port}/texts"  # type: ignore[attr-defined]
    settings.TEXT_GATEWAY_TOKEN, settings.TEXT_GATEWAY_TIMEOUT = "secret", 2  # type: ignore[attr-defined]
    yield Gateway
    server.shutdown()
    server.server_close()


def test_texts_go_over_one_connection_with_token_and_reference(gateway: type[Gateway]) -> None:
    first, _second = add_messages(GOOD, OTHER, channel=Channel.TEXT)
    assert send().sent == 2
    (headers, body), (_headers, other) = gateway.requests
    assert body == {"reference": str(first.reference), "to": "+15550101", "text": first.body}
    assert (headers["Authorization"], headers["Idempotency-Key"]) == ("Bearer secret", str(first.reference))
    assert other["to"] == "5555550102"
    assert gateway.connections == 1


@pytest.mark.parametrize("answer", [400, 404, 422])
def test_number_that_is_refused_ends_its_message_alone(gateway: type[Gateway], answer: int) -> None:
    message, _other = add_messages(ODD, GOOD, channel=Channel.TEXT)
    gateway.answer = answer
    assert send().sent == 1
    message.refresh_from_db()
    assert (message.status, message.why["code"]) == (MessageStatus.FAILED, "message.address_refused")
    assert not ChannelState.objects.filter(failing_since__isnull=False).exists()


@pytest.mark.parametrize("answer", [409, 425, HANG_UP])
def test_number_that_is_put_off_waits_alone(gateway: type[Gateway], answer: int) -> None:
    message, _other = add_messages(ODD, GOOD, channel=Channel.TEXT)
    gateway.answer = answer
    assert send().sent == 1
    message.refresh_from_db()
    assert (message.status, message.attempts, message.first_refused_at) == (MessageStatus.WAITING, 0, NOW)
    assert not ChannelState.objects.filter(failing_since__isnull=False).exists()


@pytest.mark.parametrize("answer", [401, 403, 429, 500, 503, HANG_UP])
def test_fault_of_the_gateway_slows_texts_and_not_mail(gateway: type[Gateway], answer: int, settings: object) -> None:
    add_messages(GOOD, OTHER, channel=Channel.TEXT)
    add_messages("ada@example.org")
    gateway.answer, gateway.to_everybody = answer, True
    assert send().sent == 1
    state = ChannelState.objects.get(failing_since__isnull=False)
    assert state.channel == Channel.TEXT
    waiting = Message.objects.filter(channel=Channel.TEXT)
    assert set(waiting.values_list("status", "attempts", "first_refused_at")) == {(MessageStatus.WAITING, 0, None)}
    gateway.to_everybody = False
    assert send(state.try_again_at).sent == 2


def test_what_is_no_number_ends_before_it_is_sent(gateway: type[Gateway]) -> None:
    (message,) = add_messages("lena@example.org", channel=Channel.TEXT)
    send()
    message.refresh_from_db()
    assert (message.status, message.why["code"]) == (MessageStatus.FAILED, "message.no_address")


def test_embedded_texts_lie_beside_the_mail(db: None, settings: object) -> None:
    add_messages(GOOD, channel=Channel.TEXT)
    assert send().sent == 1
    (file,) = Path(settings.EMAIL_FILE_PATH).glob("*.eml")  # type: ignore[attr-defined]
    assert "+1 555 0101" in file.read_text()


def test_texts_wait_where_mail_has_a_server_and_they_have_none(db: None, settings: object) -> None:
    add_messages(GOOD, channel=Channel.TEXT)
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"  # type: ignore[attr-defined]
    settings.EMAIL_FILE_PATH = None  # type: ignore[attr-defined]
    assert send().sent == 0
    assert ChannelState.objects.get(pk=Channel.TEXT).last_error == "TEXT_GATEWAY_URL is not set."
