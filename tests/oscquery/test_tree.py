"""The OSC table as nodes, without a network."""

from sidecar.osc import codec
from sidecar.osc.table.addresses import INCOMING, OUTGOING, ROOT, Incoming, Outgoing
from sidecar.osc.table.exchange import SERVICES
from sidecar.oscquery.tree import Tree


def leaves(node):
    """Every node of a tree that is more than a container, by its path."""
    found = {} if node["ACCESS"] == 0 else {node["FULL_PATH"]: node}
    for child in node.get("CONTENTS", {}).values():
        found |= leaves(child)
    return found


def sent(path, tags="f", unit="", read=lambda _snapshot: (1.0,)):
    return Outgoing(path, tags, unit, "reading", "what is sent", read)


def incoming(path, tags="f", unit=""):
    return Incoming(path, tags, unit, -40.0, 20.0, "what is accepted", "fader")


def test_the_tree_has_every_address_of_the_table_and_no_other(a_snapshot, valid):
    """Sent ones can be read (1), accepted ones written (2), and all is of the shape of the proposal."""
    whole = Tree().node("/", a_snapshot())
    expected = {ROOT + row.path: 1 for row in OUTGOING}
    for row in (*INCOMING, *SERVICES):
        expected[ROOT + row.path] = expected.get(ROOT + row.path, 0) + 2

    valid("node", whole)
    assert {path: node["ACCESS"] for path, node in leaves(whole).items()} == expected


def test_a_value_is_what_the_wire_carries(a_snapshot):
    """Same numbers, same types and same places as in the OSC message; silence is −120."""
    snapshot = a_snapshot()
    tree = Tree()

    for path, node in leaves(tree.node("/", snapshot)).items():
        if node["ACCESS"] & 1:
            packet = tree.packets(snapshot)(path)
            if packet is None:  # a value that this run has not, such as the correlation of no sound
                assert "VALUE" not in node
                continue
            ((address, arguments),) = codec.parse(packet)
            assert (path, arguments) == (address, node["VALUE"])
            kinds = "".join({float: "f", int: "i", str: "s"}[type(value)] for value in arguments)
            assert kinds == node["TYPE"]
    assert tree.attributes("/sidecar/short-term", snapshot)["VALUE"] == [-120.0]


def test_a_row_of_many_values_has_a_tag_and_a_unit_for_each(a_snapshot):
    """As many as there are channels now, and one while that is not known."""
    tree = Tree()
    known = tree.attributes("/sidecar/peak/channels", a_snapshot())
    unknown = tree.attributes("/sidecar/peak/channels", None)

    assert (known["TYPE"], known["UNIT"], known["VALUE"]) == ("ff", ["dBTP", "dBTP"], [-3.0, -4.0])
    assert (unknown["TYPE"], unknown["UNIT"], unknown.get("VALUE")) == ("f", ["dBTP"], None)


def test_what_is_not_there_has_no_value(a_snapshot):
    """Without a surface its rows are in the tree and have no value."""
    tree = Tree()
    found = tree.attributes("/sidecar/auto/armed", a_snapshot(arm=None))

    assert "VALUE" not in found
    assert tree.packets(a_snapshot(arm=None))("/sidecar/auto/armed") is None


def test_a_number_that_is_obeyed_has_its_range():
    """The limits that a command is refused beyond; texts and buttons have none."""
    tree = Tree((), (incoming("/fader", unit="dB"), incoming("/goal", "s"), incoming("/reset", "")))

    assert tree.attributes("/sidecar/fader", None)["RANGE"] == [{"MIN": -40.0, "MAX": 20.0}]
    assert tree.attributes("/sidecar/fader", None)["UNIT"] == ["dB"]
    assert "RANGE" not in tree.attributes("/sidecar/goal", None)
    assert tuple(tree.attributes("/sidecar/reset", None).get(at) for at in ("TYPE", "RANGE")) == ("", None)


def test_a_name_or_a_number_is_a_text_with_an_overload(valid):
    """A row's ``n`` means two ways to name a stem."""
    found = Tree((), (incoming("/stem/fader", "nf", "dB"),)).attributes("/sidecar/stem/fader", None)

    valid("node", found)
    assert (found["TYPE"], found["OVERLOADS"]) == ("sf", [{"TYPE": "if"}])
    assert (found["RANGE"], found["UNIT"]) == ([{}, {"MIN": -40.0, "MAX": 20.0}], ["", "dB"])


def test_an_address_that_is_sent_and_obeyed_is_one_node(a_snapshot, valid):
    """Readable and writable, with its value, its range and both meanings."""
    found = Tree((sent("/fader"),), (incoming("/fader"),)).attributes("/sidecar/fader", a_snapshot())

    valid("node", found)
    assert (found["ACCESS"], found["VALUE"], found["RANGE"]) == (3, [1.0], [{"MIN": -40.0, "MAX": 20.0}])
    assert found["DESCRIPTION"] == "what is sent; to set it: what is accepted"


def test_an_address_may_have_others_below_it(a_snapshot):
    """``/goal`` sets what ``/goal/name`` sends."""
    found = Tree((sent("/goal/name"),), (incoming("/goal", "s"),)).node("/sidecar/goal", a_snapshot())

    assert (found["ACCESS"], list(found["CONTENTS"])) == (2, ["name"])


def test_a_service_that_may_be_asked_with_or_without_arguments_has_no_type():
    """The tree does not ask a client to send what may be left out."""
    tree = Tree()

    assert "TYPE" not in tree.attributes("/sidecar/watch", None)
    assert tree.attributes("/sidecar/unwatch", None)["TYPE"] == ""
