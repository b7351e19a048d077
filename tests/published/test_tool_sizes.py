"""Hook and needle sizes: millimetres, US names, old UK numbers.

Source: conversion tables printed by yarn and tool makers, after Craft Yarn Council, Standards & Guidelines for
Crochet and Knitting. data/hook_needle_sizes.csv says of every row whether several tables agreed, one had it, or it is
from memory and unverified.
"""

from __future__ import annotations

import pytest

from testround.kernel.units import HOOKS, NEEDLES, parse_tool, tool_at, tool_label, tools_named
from tests.published.sources import table

ROWS = table("hook_needle_sizes.csv")
CRAFTS = {"crochet_hook": "crochet", "knitting_needle": "knit"}


@pytest.mark.parametrize("row", ROWS, ids=[f"{row['tool']} {row['mm']}" for row in ROWS])
def test_every_size_has_the_names_of_the_table(row):
    tool = tool_at(float(row["mm"]), CRAFTS[row["tool"]])

    assert tool is not None
    assert (tool.us or "", tool.uk or "") == (row["us_size"], row["uk_old_size"])


def test_there_are_no_sizes_besides():
    for craft, tools in (("crochet_hook", HOOKS), ("knitting_needle", NEEDLES)):
        assert [tool.mm for tool in tools] == [float(row["mm"]) for row in ROWS if row["tool"] == craft]


@pytest.mark.parametrize("craft", ["crochet", "knit"])
@pytest.mark.parametrize("system", ["us", "uk"])
def test_millimetres_to_a_name_and_back_are_the_same_size(craft, system):
    names = [tool.us if system == "us" else tool.uk for tool in (HOOKS if craft == "crochet" else NEEDLES)]
    for tool, name in zip(HOOKS if craft == "crochet" else NEEDLES, names, strict=True):
        if name is not None and names.count(name) == 1:
            assert parse_tool(name, craft, system).mm == tool.mm
            assert tool_label(tool.mm, craft, system) == f"{system.upper()} {name} ({tool.mm:g} mm)"


@pytest.mark.parametrize("tools", [HOOKS, NEEDLES], ids=["hooks", "needles"])
def test_old_uk_numbers_run_the_other_way(tools):
    # 14 is the thinnest; below 1 they go 0, 00, 000.
    numbers = [tool.uk for tool in tools if tool.uk is not None]
    thickness = [-(len(number) - 1) if set(number) == {"0"} else int(number) for number in numbers]

    assert thickness == sorted(thickness, reverse=True)


def test_a_seven_has_no_letter_in_either_craft_and_is_the_same_size():
    assert [tool.mm for tool in tools_named("7", "crochet", "us")] == [4.5]
    assert [tool.mm for tool in tools_named("7", "knit", "us")] == [4.5]


def test_a_hooks_k_and_a_needles_ten_and_a_half_are_one_size():
    assert tools_named("K-10.5", "crochet", "us")[0].mm == tools_named("10.5", "knit", "us")[0].mm == 6.5
