"""The browsers that scenarios run in."""

from engine import Engine
from engine_chromium import Chromium
from engine_firefox import Firefox
from engine_webkit import WebKit

ENGINES: tuple[type[Engine], ...] = (Chromium, WebKit, Firefox)
BY_NAME = {engine.name: engine for engine in ENGINES}
POINTERS = ("pen", "touch", "mouse")
