"""The browser's end of the line, without a browser: what it would send, and what comes."""

from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.sync.client import connect

PATIENCE_S = 60


class Line:
    """One session of an app that is served at an address, and what its page holds."""

    def __init__(self, address, page="field"):
        host = address.removeprefix("http://").rstrip("/")
        self.socket = connect(
            f"ws://{host}/_stcore/stream",
            subprotocols=["streamlit"],
            origin=f"http://{host}",
            max_size=None,
            compression=None,
        )
        self.page, self.name = "", page  # as the server and as the address call it
        self.elements = {}  # by their ids, as they came last
        self.fragments = {}  # that they are in
        self.kinds = []  # of what came last
        self._values = {}
        self._cached = {}  # messages that the browser would know again

    def close(self):
        self.socket.close()

    def run(self, fragment=""):
        """Ask for a run of the page, or of a part of it; the bytes that come."""
        message = BackMsg()
        asked = message.rerun_script
        asked.fragment_id, asked.page_script_hash = fragment, self.page
        asked.page_name = self.name
        asked.cached_message_hashes.extend(self._cached)
        for name, (form, value) in self._values.items():
            state = asked.widget_states.widgets.add()
            state.id = name
            if form.endswith("_array_value"):
                getattr(state, form).data.extend(value)
            else:
                setattr(state, form, value)
        self.socket.send(message.SerializeToString())
        self.kinds = []
        return sum(self._take(self.socket.recv(PATIENCE_S)) for _ in iter(self._running, False))

    def touch(self, key, **value):
        """Set what a widget of the field's part holds, as in `string_value="2"`; the bytes."""
        name = self.named(key)
        ((self._values[name]),) = value.items()
        return self.run(self.fragments[name])

    def press(self, key):
        """Press a button of the field's part, once; the bytes."""
        name = self.named(key)
        self._values[name] = ("trigger_value", True)
        try:
            return self.run(self.fragments[name])
        finally:
            del self._values[name]

    def element(self, key):
        """What came last under a key."""
        return self.elements[self.named(key)]

    def named(self, key):
        """The id of what has a key."""
        return next(name for name in self.elements if name.endswith(f"-{key}"))

    def _running(self):
        return "script_finished" not in self.kinds

    def _take(self, data):
        message = ForwardMsg.FromString(data)
        if message.WhichOneof("type") == "ref_hash":
            whole = ForwardMsg()
            whole.CopyFrom(self._cached[message.ref_hash])
            message = whole
        elif message.metadata.cacheable:
            self._cached[message.hash] = message
        kind = message.WhichOneof("type")
        if (
            kind == "script_finished"
            and message.script_finished == message.FINISHED_EARLY_FOR_RERUN
        ):
            return len(data)  # it was cut off by the next run, whose end is to come
        self.kinds.append(kind)
        if kind == "navigation":
            self.page = message.navigation.page_script_hash
        elif kind == "delta" and message.delta.WhichOneof("type") == "new_element":
            element = message.delta.new_element
            content = getattr(element, element.WhichOneof("type"))
            if name := getattr(content, "id", ""):
                self.elements[name] = content
                self.fragments[name] = message.delta.fragment_id
        elif kind == "delta" and (name := message.delta.add_block.expandable.id):
            self.elements[name] = message.delta.add_block.expandable
            self.fragments[name] = message.delta.fragment_id
        return len(data)
