"""What a goal may ask of a file besides its loudness: read from TOML, refused in words, off where absent."""

import pytest

from sidecar.errors import SettingsError
from sidecar.journal.packing import goal as unpacked
from sidecar.journal.packing import pack_fields
from sidecar.settings.delivery_rules import DeliveryRules, SilenceLimits
from sidecar.settings.goals import load_goal
from sidecar.settings.locations import shipped_configs

GOAL = (
    'title = "Ours"\ntarget_lufs = -23.0\ntolerance_lu = 0.5\nceiling_dbtp = -1.0\nhot_lufs = -20.0\n'
    'source = "our own wish"\n'
)


def loaded(folder, text):
    path = folder / "mine.toml"
    path.write_text(GOAL + text, encoding="utf-8")
    return load_goal(path)


def test_a_goal_without_the_table_has_no_rules(tmp_path):
    assert loaded(tmp_path, "").delivery is None
    assert loaded(tmp_path, "[delivery]\n").delivery == DeliveryRules()


def test_each_rule_arrives(tmp_path):
    rules = loaded(
        tmp_path,
        "[delivery]\nsample_rates_hz = [48000, 96000]\nbit_depths = [24, 'float']\nlayouts = ['stereo']\n"
        "head_silence_s = { least = 0.5, most = 2 }\ntail_silence_s = { least = 1 }\n"
        "failing_notes = ['clipping', 'dc offset']\n",
    ).delivery

    assert rules == DeliveryRules(
        (48_000, 96_000),
        (24, "float"),
        ("stereo",),
        SilenceLimits(0.5, 2.0),
        SilenceLimits(1.0),
        ("clipping", "dc offset"),
    )


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("delivery = 3\n", "delivery is 3; it must be a table, [delivery]"),
        ("[delivery]\nsample_rate = [48000]\n", "has no key 'sample_rate'. Did you mean sample_rates_hz?"),
        ("[delivery]\nsample_rates_hz = 48000\n", "sample_rates_hz is 48000; it must be a list"),
        ("[delivery]\nsample_rates_hz = [48]\n", "sample_rates_hz is 48; it must be whole numbers of Hz"),
        ("[delivery]\nsample_rates_hz = [true]\n", "sample_rates_hz is True"),
        ("[delivery]\nbit_depths = [17]\n", "bit_depths is 17; it must be of 8, 16, 20, 24, 32, float"),
        ("[delivery]\nlayouts = [5.1]\n", "layouts is 5.1; it must be one line of text"),
        ("[delivery]\nhead_silence_s = 2\n", "head_silence_s is 2; it must be { least = …, most = … }"),
        ("[delivery]\nhead_silence_s = {}\n", "head_silence_s is {}"),
        ("[delivery]\ntail_silence_s = { least = 2, most = 1 }\n", "tail_silence_s.most is 1"),
        ("[delivery]\nfailing_notes = ['noise']\n", "failing_notes is 'noise'; it must be of clipping, "),
    ],
)
def test_what_cannot_be_used_is_refused_with_what_can(tmp_path, text, said):
    with pytest.raises(SettingsError, match=r"mine\.toml: ") as refused:
        loaded(tmp_path, text)

    assert said in str(refused.value)


def test_no_shipped_goal_has_rules_and_the_example_explains_each():
    """The documents that they are named after ask for none."""
    folder = shipped_configs() / "goals"
    example = (folder / "r128.toml").read_text(encoding="utf-8")
    commented = example.split("#   [delivery]")[1]

    assert all(load_goal(path).delivery is None for path in folder.glob("*.toml"))
    for key in DeliveryRules.__dataclass_fields__:
        assert f"{key} = " in commented


def test_the_lines_of_the_example_can_be_switched_on_as_they_stand(tmp_path):
    text = (shipped_configs() / "goals" / "r128.toml").read_text(encoding="utf-8")
    table = text[text.index("#   [delivery]") :]
    lines = [line.removeprefix("#   ") for line in table.splitlines() if line.startswith("#   ")]
    cleaned = [line.split("   ")[0] for line in lines]

    assert loaded(tmp_path, "\n".join(cleaned)).delivery.bit_depths == (24,)


def test_a_pass_on_record_keeps_its_goal_without_the_rules(tmp_path):
    goal = loaded(tmp_path, "[delivery]\nbit_depths = [24]\n")

    assert unpacked(pack_fields(goal)).delivery is None
    assert unpacked(pack_fields(goal)).target_lufs == -23.0
