"""Every figure of four takes, as it was when last looked at."""

from __future__ import annotations

import json

import pytest

from tests.measure.golden import FOLDER, TAKES, figures_of


def differences(kept, now, where: str = "") -> list[str]:
    """Where two results differ by more than their rounding."""
    if isinstance(kept, dict) and isinstance(now, dict):
        if kept.keys() != now.keys():
            return [f"{where}: keys {sorted(kept.keys() ^ now.keys())}"]
        return [d for k in kept for d in differences(kept[k], now[k], f"{where}.{k}")]
    if isinstance(kept, list) and isinstance(now, list):
        if len(kept) != len(now):
            return [f"{where}: {len(kept)} and {len(now)} long"]
        pairs = enumerate(zip(kept, now, strict=True))
        return [d for i, (a, b) in pairs for d in differences(a, b, f"{where}[{i}]")]
    numbers = isinstance(kept, float) and isinstance(now, (int, float))
    same = now == pytest.approx(kept, rel=2e-4, abs=2e-4) if numbers else kept == now
    return [] if same else [f"{where}: {kept} was kept, {now} is found"]


@pytest.mark.parametrize("name", sorted(TAKES))
def test_nothing_changed_unseen(name):
    kept = json.loads((FOLDER / f"{name}.json").read_text())
    assert differences(kept, figures_of(TAKES[name]())) == []
