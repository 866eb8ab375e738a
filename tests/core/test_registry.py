"""The registry holds every method of the library, once, and costs little to import."""

from __future__ import annotations

import importlib
import pkgutil
import re
import subprocess
import sys

import pytest

import outfeed
from outfeed import registry
from outfeed.errors import UnknownName
from outfeed.grains import grain_ids, load_grain


def modules_with_methods() -> list[str]:
    names = [m.name for m in pkgutil.walk_packages(outfeed.__path__, "outfeed.")]
    return [n for n in names if n != "outfeed.registry" and _lists_methods(n)]


def _lists_methods(name: str) -> bool:
    return hasattr(importlib.import_module(name), "METHODS")


@pytest.mark.parametrize("name", modules_with_methods())
def test_the_registry_gathers_what_every_module_lists(name: str) -> None:
    listed = set(importlib.import_module(name).METHODS)
    assert listed <= set(registry.METHODS)


def test_ids_are_dotted_words() -> None:
    for method in registry.METHODS:
        assert re.fullmatch(r"[a-z][a-z0-9-]*(\.[a-z0-9][a-z0-9-]*)+", method.id), method.id


def test_every_method_says_what_it_is_and_where_it_comes_from() -> None:
    for method in registry.METHODS:
        assert len(method.title) > 5, method.id
        assert len(method.source) > 5, method.id
        assert method.known, method.id


def test_every_isotherm_and_drying_equation_of_the_catalogue_is_a_method() -> None:
    for grain in map(load_grain, grain_ids()):
        for entry in (*grain.isotherms, *grain.kinetics):
            assert registry.find_method(entry.method).id == entry.method


def test_topics_divide_the_methods() -> None:
    divided = [m for topic in registry.topics() for m in registry.methods_of(topic)]
    assert sorted(m.id for m in divided) == sorted(m.id for m in registry.METHODS)


def test_an_unknown_id_or_topic_is_refused_with_what_exists() -> None:
    with pytest.raises(UnknownName) as caught:
        registry.find_method("emc.freehand")
    assert len(caught.value.known) == len(registry.METHODS)
    with pytest.raises(UnknownName) as caught:
        registry.methods_of("astrology")
    assert caught.value.known == registry.topics()


def test_the_registry_is_imported_without_scipy() -> None:
    program = "import sys; import outfeed.registry; assert 'scipy' not in sys.modules"
    subprocess.run([sys.executable, "-c", program], check=True)
