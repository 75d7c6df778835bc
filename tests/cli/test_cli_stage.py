"""The command `stage`: figures, files, exit status and words, run as a user does."""

from __future__ import annotations

import math
import re
import wave
from pathlib import Path

import numpy as np
import pytest

from tests.cli.commands import AT_ONCE, CHIP, JINGLE, PATCHES, run, run_on_terminal

PWM, SIGMA, CODEC = (str(PATCHES / f"stage-{n}.toml") for n in ("pwm-rc", "sigma-delta-rc-rc", "codec"))
GOALS = """format = 1
title = "quick"
[code]
bits = 9
clock = "6.144 MHz"
silence = 0
[pin]
supply = 3.3
resistance = 40
rating = "8 mA"
clocks = ["6.144 MHz"]
[load]
kind = "line-input"
[goals]
sinad = {sinad}
ripple = "60 mV"
level = [-14, -6]
[candidates]
modulators = ["sigma-delta-1"]
topologies = ["rc-divider"]
coupling = ["4.7u"]
resistors = {{ series = "E6", from = "470", to = "10k" }}
capacitors = {{ series = "E6", from = "1n", to = "47n" }}
[search]
finalists = 2
"""


def samples_of(path: Path) -> np.ndarray:
    with wave.open(str(path), "rb") as file:
        return np.frombuffer(file.readframes(file.getnframes()), dtype="<i2") / 32_768


def edited(folder: Path, source: str, old: str, new: str, name: str = "edited.toml") -> str:
    words = Path(source).read_text(encoding="utf-8")
    assert old in words
    (folder / name).write_text(words.replace(old, new), encoding="utf-8")
    return name


def test_a_stage_is_measured_drawn_and_heard_into_out(tmp_path: Path) -> None:
    found = run(["stage", SIGMA], tmp_path)
    assert (found.status, found.err) == (0, "")
    assert found.out.startswith("MEETS 7 limits  Sigma-delta on a pin, RC-RC  (stage-sigma-delta-rc-rc.toml)\n")
    for word in (
        "-3 dB points",
        "droop at 20 kHz",
        "SNR, A-weighted",
        "THD+N",
        "ENOB",
        "SFDR",
        "ripple, playing",
        "carrier residue",
        "idle tones",
        "power-up",
        "heat",
        "cautions",
        "Hearing:",
    ):
        assert word in found.out
    assert max(map(len, found.out.splitlines())) <= 100
    assert (tmp_path / "out" / "stage-sigma-delta-rc-rc.png").read_bytes().startswith(b"\x89PNG")
    heard = samples_of(tmp_path / "out" / "stage-sigma-delta-rc-rc.wav")
    assert heard.size == 48_000
    assert 20 * math.log10(np.sqrt(np.mean(heard**2)) * math.sqrt(2)) == pytest.approx(
        -1.0, abs=0.1
    )  # dBFS of the tone


def test_the_three_shipped_stages_stand_side_by_side(tmp_path: Path) -> None:
    found = run(["stage", PWM, SIGMA, CODEC, "--figures-only"], tmp_path)
    assert (found.status, found.err) == (0, "")
    assert not (tmp_path / "out").exists()
    sinad = re.findall(r"^  SINAD +(\S+) dB +(\S+) dB +(\S+) dB$", found.out, re.MULTILINE)[0]
    assert float(sinad[0]) < 40 < 80 < float(sinad[1])
    cost = re.findall(r"^  cost +(\S+) +(\S+) +(\S+)$", found.out, re.MULTILINE)[0]
    assert [float(c) for c in cost] == [0.17, 0.21, 2.62]
    assert max(map(len, found.out.splitlines())) <= 100


def test_json_holds_every_figure_and_nothing_else_is_printed(tmp_path: Path) -> None:
    found = run(["stage", PWM, "--json", "--figures-only"], tmp_path)
    document = found.document
    assert document["status"] == 0
    (one,) = document["result"]["stages"]
    assert one["meets_limits"] is True
    assert one["above_20khz"]["carrier_hz"] == 96_000
    assert one["tone"]["exact_lines"] is True
    assert {"snr", "ripple", "level", "pin-current", "pop", "parts", "cost"} <= set(one["figures"])
    assert {r["kind"] for r in one["remarks"]} == {"ripple", "more-bits-worse", "one-moving-edge"}
    assert any(c.startswith("Supply:") for c in document["result"]["cautions"])


def test_a_missed_limit_is_exit_status_1_and_told_first_with_its_amount(tmp_path: Path) -> None:
    name = edited(tmp_path, PWM, "[limits]\n", "[limits]\nsinad = 60\n")
    found = run(["stage", name, "--figures-only"], tmp_path)
    assert found.status == 1
    first, second = found.out.splitlines()[:2]
    assert first == "MISSES 1 of 5 limits  PWM on a pin, RC  (edited.toml)"
    assert re.fullmatch(r"  SINAD 36\.\d dB, wanted at least 60 dB: missed by 23\.\d dB", second)


def test_a_pin_over_its_rating_is_exit_status_1(tmp_path: Path) -> None:
    name = edited(tmp_path, PWM, 'rating = "8 mA"', 'rating = "1 mA"')
    assert run(["stage", name, "--figures-only"], tmp_path).status == 1


def test_a_log_is_played_through_a_stage_and_told_with_the_loudness_of_each_channel(tmp_path: Path) -> None:
    found = run(["stage", SIGMA, "--log", JINGLE, "--chip", CHIP, "--to", "500ms", "--sound", "x.wav"], tmp_path)
    assert (found.status, found.err) == (0, "")
    told = " ".join(found.out.split())
    assert f"what the load hears of {JINGLE}, left, 0.500 s, 3,072,000 clocks simulated" in told
    assert samples_of(tmp_path / "x.wav").size == 24_000
    rows = re.findall(r"^  (a|b|wave|noise) +(-?\d+\.\d) +[+-]\d", found.out, re.MULTILINE)
    assert {name for name, _ in rows} == {"a", "b", "wave", "noise"}
    levels = {name: float(value) for name, value in rows}
    assert levels["a"] == levels["b"]  # the same circuit twice, linnet.md
    assert "at volume code 31" in found.out


def test_a_sound_file_is_played_through_a_stage(tmp_path: Path) -> None:
    tone = np.round(16_000 * np.sin(2 * np.pi * 440 * np.arange(24_000) / 48_000)).astype("<i2")
    with wave.open(str(tmp_path / "in.wav"), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(48_000)
        file.writeframes(tone.tobytes())
    found = run(["stage", SIGMA, "--wav", "in.wav", "--sound", "x.wav", "--json"], tmp_path)
    heard = found.document["result"]["stages"][0]["heard"]
    full = found.document["result"]["stages"][0]["level"]["full_scale_v_rms"]
    assert heard["v_rms"] == pytest.approx(full * 16_000 / 32_768, rel=0.01)
    assert heard["seconds"] == pytest.approx(0.5, abs=0.001)
    size = samples_of(tmp_path / "x.wav")
    spectrum = np.abs(np.fft.rfft(size[4000:20_000] * np.hanning(16_000)))
    assert np.argmax(spectrum) * 3 == pytest.approx(440, abs=3)


def test_a_sound_file_past_full_scale_is_refused_and_not_clipped(tmp_path: Path) -> None:
    import soundfile

    soundfile.write(tmp_path / "hot.wav", np.array([0.0, 2.0, -1.0] * 100), 48_000, subtype="FLOAT")
    found = run(["stage", SIGMA, "--wav", "hot.wav"], tmp_path)
    assert found.status == 2
    assert found.err == "psgmodel: error: stage: hot.wav passes full scale by 6.0 dB (lower it first)\n"


def test_the_netlist_runs_in_ngspice(tmp_path: Path) -> None:
    from tests.output_stage.spice_runner import run_ngspice

    found = run(["stage", PWM, "--figures-only", "--netlist", "stage.cir"], tmp_path)
    assert "netlist  stage.cir  (ngspice -b stage.cir writes stage.dat;" in found.out
    table = run_ngspice((tmp_path / "stage.cir").read_text(), tmp_path, "stage.dat")
    assert table[-1, 0] == pytest.approx(1e-3, rel=0.01)
    assert 0.05 < np.abs(table[:, 1]).max() < 1.0


def test_goals_are_searched_ranked_drawn_and_kept(tmp_path: Path) -> None:
    (tmp_path / "goals.toml").write_text(GOALS.format(sinad=50), encoding="utf-8")
    found = run(["stage", "--search", "goals.toml", "--keep", "kept"], tmp_path)
    assert (found.status, found.err) == (0, "")
    assert found.out.startswith("FOUND 2 stages  quick  (goals.toml)\n")
    told = re.search(
        r"([\d,]+) stages judged by formulas.* hopeful; (\d+) stages simulated", " ".join(found.out.split())
    )
    assert told is not None
    assert int(told[2]) <= 6
    assert (tmp_path / "out" / "goals.png").read_bytes().startswith(b"\x89PNG")
    assert "Pareto front over parts, SINAD, ripple" in found.out
    assert max(map(len, found.out.splitlines())) <= 100
    again = run(["stage", "kept/found-01.toml", "--figures-only"], tmp_path)
    assert again.status == 0
    assert again.out.startswith("MEETS ")


def test_goals_that_nothing_meets_are_exit_status_1_with_what_failed_and_by_how_much(tmp_path: Path) -> None:
    (tmp_path / "goals.toml").write_text(GOALS.format(sinad=110), encoding="utf-8")
    found = run(["stage", "--search", "goals.toml", "--figures-only"], tmp_path)
    assert found.status == 1
    assert found.out.startswith("NOTHING MEETS THE GOALS  quick  (goals.toml)\n")
    assert re.search(r"SINAD +at least 110 dB +6\d\.\d dB ", found.out)
    assert re.search(r"SINAD 6\d\.\d dB, wanted at least 110 dB: missed by 4\d\.\d dB", found.out)
    document = run(["stage", "--search", "goals.toml", "--figures-only", "--json"], tmp_path).document
    assert document["result"]["search"]["met"] == 0


def test_the_same_command_gives_the_same_bytes(tmp_path: Path) -> None:
    (tmp_path / "goals.toml").write_text(GOALS.format(sinad=50), encoding="utf-8")
    seen: list[tuple[str, bytes, bytes]] = []
    for _ in range(2):
        told = run(["stage", SIGMA], tmp_path).out + run(["stage", "--search", "goals.toml"], tmp_path).out
        out = tmp_path / "out"
        seen.append((told, (out / "stage-sigma-delta-rc-rc.wav").read_bytes(), (out / "goals.png").read_bytes()))
    assert seen[0] == seen[1]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["stage"], "stage: no stage file (psgmodel stage --help shows what is accepted)"),
        (["stage", SIGMA, "--log", JINGLE], "stage: --log needs --chip, the unit that plays it"),
        (["stage", PWM, SIGMA, "--sound", "x.wav"], "stage: --sound names one file for 2 stages (one at a time)"),
        (
            ["stage", SIGMA, "--picture", "x.jpg"],
            '"x.jpg" does not say which kind of picture it is (end it in .png or .svg)',
        ),
        (
            ["stage", SIGMA, "--sound", "x.mp3"],
            'stage: "x.mp3" does not say which kind of sound file it is (end it in .wav or .flac)',
        ),
        (["stage", SIGMA, "--to", "1s"], "stage: --from and --to cut what is played (give --log or --wav with them)"),
        (["stage", SIGMA, "--volume", "3"], "stage: --volume is for the loudness of channels (give --chip with it)"),
        (["stage", "none.toml"], "none.toml: cannot read: No such file or directory"),
        (["stage", SIGMA, "--chip", CHIP, "--volume", "99"], "stage: --volume 99 (every channel takes 1 to 31)"),
    ],
)
def test_what_cannot_be_used_is_exit_status_2_with_a_hint(words: list[str], message: str, tmp_path: Path) -> None:
    found = run(words, tmp_path)
    assert found.status == 2
    assert found.err == f"psgmodel: error: {message}\n"
    assert found.out == ""
    assert list(tmp_path.iterdir()) == []


def test_a_chip_of_another_width_or_clock_is_refused(tmp_path: Path) -> None:
    name = edited(tmp_path, SIGMA, "bits = 9", "bits = 10")
    found = run(["stage", name, "--chip", CHIP, "--figures-only"], tmp_path)
    assert found.status == 2
    assert "Linnet makes 9 bits at 6144000 Hz, edited.toml takes 10 bits at 6144000 Hz" in found.err


def test_every_problem_of_a_stage_file_is_told_with_its_line(tmp_path: Path) -> None:
    name = edited(tmp_path, PWM, 'supply = "3.3 V"', 'supply = "-3 V"')
    edited(tmp_path, str(tmp_path / name), 'value = "22n"', 'value = "22nn"', name)
    found = run(["stage", name], tmp_path)
    assert found.status == 2
    lines = found.err.splitlines()
    assert len(lines) == 2
    assert re.match(r"psgmodel: error: edited.toml:\d+: supply is -3; accepted is 0.1 to 100", lines[0])


def test_a_measurement_shows_a_bar_on_a_terminal_and_leaves_nothing_of_it(tmp_path: Path) -> None:
    shown = run_on_terminal(["stage", PWM, PWM, "--figures-only"], tmp_path, command=AT_ONCE)
    assert shown.status == 0
    assert "measuring PWM on a pin, RC" in shown.err
    assert shown.err.rstrip(" ").endswith("\r")
