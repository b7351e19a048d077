"""One visit to each page of the program: as whom, where, and what is looked at while there."""

from __future__ import annotations

import gzip
import os
from dataclasses import dataclass, replace

from axe_playwright_python.sync_playwright import Axe
from django.test import Client
from playwright.sync_api import Browser, Page, Request, Response

from testround.errata.models import Erratum
from testround.home import demo
from testround.people.models import User
from testround.reports.models import Photo
from testround.rounds.models import Place, Round
from testround.talk.models import Question
from tests.browser.conftest import Window
from tests.test_access import Scene
from tests.visits import Visit

PHONE, NARROWEST, DESK, HEIGHT = 360, 320, 1280, 800
A4_WITHOUT_MARGINS = 680


# Where to go ----------------------------------------------------------------------------------------------


def in_the_demo(scene: Scene) -> Scene:
    """The scene with the demo's round in the middle of it, which has something to show on every page."""
    fenlight = Round.objects.get(edition__pattern__title="Fenlight Cardigan")
    place = Place.objects.get(round=fenlight, key="t05")
    pattern = fenlight.edition.pattern
    clients = dict(scene.clients)
    for role, email in (("tester", demo.TESTERS["t05"]), ("designer", demo.DESIGNER)):
        clients[role] = Client()
        clients[role].force_login(User.objects.get(email=email))
    return replace(
        scene,
        round=fenlight,
        edition=fenlight.edition,
        place=place,
        offered=Place.objects.get(round=fenlight, name="Willow"),
        photo=Photo.objects.filter(place=place)[0],
        question=Question.objects.filter(place=place)[0],
        draft=Erratum.objects.create(
            pattern=pattern,
            edition=fenlight.edition,
            round=fenlight,
            place="Back, step 2",
            text="Work 96 rows.",
        ),
        clients=clients,
    )


# What is looked at ----------------------------------------------------------------------------------------

LAY_BARS = """(position) => {
  for (const bar of document.querySelectorAll(".page-actions, .send-bar")) bar.style.position = position;
}"""

# What axe-core is asked for: WCAG 2.2 up to AA, and what its makers hold to be good practice besides.
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
RULES = {"runOnly": {"type": "tag", "values": TAGS}, "resultTypes": ["violations"]}
# Of light and dark on a desk and a phone, two that have nothing in common; all four take twice as long.
EVERY_LIGHT = bool(os.environ.get("TESTROUND_EVERY_LIGHT"))

IS_TOO_WIDE = "() => document.documentElement.scrollWidth - innerWidth"

# Text that its box cuts off: wider or higher than what shows, with the rest hidden and not to be scrolled to.
CUT_OFF = """() => [...document.querySelectorAll("body *")].filter((box) => {
  const look = getComputedStyle(box);
  return box.textContent.trim() && look.overflow === "hidden" && look.clipPath === "none"
    && box.clientWidth > 1 && (box.scrollWidth > box.clientWidth + 1 || box.scrollHeight > box.clientHeight + 1);
}).map((box) => box.outerHTML.slice(0, 80))"""

MOVES = """() => document.getAnimations().length + [...document.querySelectorAll("body *")].filter((box) => {
  const look = getComputedStyle(box);
  const longest = (times) => Math.max(...times.split(",").map(parseFloat));
  return longest(look.transitionDuration) > 0.01
    || (look.animationName !== "none" && longest(look.animationDuration) > 0.01);
}).length"""

# By the keyboard one comes to each of these; nothing that stays in place may lie over it (WCAG 2.2, 2.4.11).
HIDDEN_BY_THE_BAR = """() => {
  const bar = document.querySelector(".page-actions");
  if (!bar?.checkVisibility() || getComputedStyle(bar).position !== "sticky") return [];
  const found = [];
  for (const one of document.querySelectorAll("main :is(a[href], button, input, select, textarea, summary)")) {
    if (!one.checkVisibility() || one.type === "hidden" || one.disabled) continue;
    one.focus();
    const box = one.getBoundingClientRect();
    // A field of many lines may go on under it, once one sees that it is there.
    const end = box.height > 100 ? box.top + 48 : box.bottom;
    if (end > bar.getBoundingClientRect().top + 1 && !bar.contains(one)) {
      found.push(one.outerHTML.slice(0, 80));
    }
  }
  return found;
}"""
BAR_HEIGHT = "() => document.querySelector('.page-actions')?.offsetHeight ?? 0"

SMALL_TARGETS = """() => [...document.querySelectorAll(
  ":is(.top, .page-actions) :is(a, button, summary), .button, .actions :is(a, button)"
)].filter((one) => one.checkVisibility() && one.offsetHeight < 44 && !one.closest(".skip, .stays-small"))
  .map((one) => `${one.textContent.trim().slice(0, 40)} is ${one.offsetHeight} px high`)"""

LEFT_ON_PAPER = """() => [...document.querySelectorAll(
  ".top nav, .bottom, .crumbs, .page-actions, .skip, main .button"
)].filter((one) => one.checkVisibility()).map((one) => one.className)"""

# On paper a link is read: dark, and told from the text around it by its line.
PALE_LINKS = """() => [...document.querySelectorAll("main p a, main li a, main dd a")].filter((link) => {
  const look = getComputedStyle(link);
  const [r, g, b] = look.color.match(/[0-9.]+/g).map(Number);
  return link.checkVisibility() && (0.2126 * r + 0.7152 * g + 0.0722 * b > 90
    || !look.textDecorationLine.includes("underline"));
}).map((link) => link.outerHTML.slice(0, 80))"""


@dataclass
class Found:
    """What one page was like."""

    visit: Visit
    violations: list[str]
    too_wide: dict[str, int]
    cut_off: list[str]
    moving: int
    hidden_by_the_bar: list[str]
    bar: int
    small: list[str]
    left_on_paper: list[str]
    pale_links: list[str]
    weight: int
    requests: list[str]
    elsewhere: list[str]
    faults: list[str]


class Walk:
    """One browser that goes to page after page; each is loaded once and then looked at in every light."""

    def __init__(self, browser: Browser, url: str) -> None:
        self.browser = browser
        self.url = url
        self.axe = Axe().axe_script
        self.windows: dict[int, Window] = {}
        # Bytes of each thing fetched, as it is without compression; the browser keeps what pages share.
        self.sizes: dict[str, int] = {}
        self.asked: list[Request] = []
        self.answers: list[Response] = []

    def window(self, visit: Visit) -> Window:
        """The window of the person of that visit, the same at each of their visits."""
        key = id(visit.client)
        if key not in self.windows:
            window = Window(self.browser, self.url, {"viewport": {"width": DESK, "height": HEIGHT}})
            if session := visit.client.cookies.get("sessionid"):
                window.context.add_cookies([{"name": "sessionid", "value": session.value, "url": self.url}])
            window.page.on("request", self._hear_question)
            window.page.on("response", self._hear_answer)
            self.windows[key] = window
        return self.windows[key]

    def _hear_question(self, request: Request) -> None:
        self.asked.append(request)

    def _hear_answer(self, response: Response) -> None:
        self.answers.append(response)

    def open(self, visit: Visit) -> Response:
        """Go there on a desk in the light; the page as it was sent."""
        window = self.window(visit)
        window.faults.clear()
        self.asked.clear()
        self.answers.clear()
        window.page.emulate_media(media="screen", color_scheme="light", reduced_motion="no-preference")
        window.page.set_viewport_size({"width": DESK, "height": HEIGHT})
        response = window.page.goto(visit.path)
        assert response is not None
        assert response.status == 200, f"{visit}: {response.status}"
        return response

    def look_at(self, visit: Visit) -> Found:
        response = self.open(visit)
        window = self.window(visit)
        page = window.page
        requests = [request.url for request in self.asked if not _is_photo(request)]
        elsewhere = [r.url for r in self.asked if not r.url.startswith((self.url, "data:"))]
        weight = self.weight(response)

        page.evaluate(self.axe)
        violations = self._axe(page, "on a desk")
        # What a desk of 1280 by 800 shows when everything on it is made twice as large.
        page.set_viewport_size({"width": DESK // 2, "height": HEIGHT // 2})
        too_wide = {"enlarged to 200 %": page.evaluate(IS_TOO_WIDE)}
        cut_off = page.evaluate(CUT_OFF)

        page.set_viewport_size({"width": PHONE, "height": HEIGHT})
        page.emulate_media(color_scheme="dark", reduced_motion="reduce")
        violations += self._axe(page, "on a phone in the dark")
        moving = page.evaluate(MOVES)
        bar, hidden, small = (page.evaluate(js) for js in (BAR_HEIGHT, HIDDEN_BY_THE_BAR, SMALL_TARGETS))
        if EVERY_LIGHT:
            page.emulate_media(color_scheme="light")
            violations += self._axe(page, "on a phone")
            page.emulate_media(color_scheme="dark")
            page.set_viewport_size({"width": DESK, "height": HEIGHT})
            violations += self._axe(page, "on a desk in the dark")
        page.set_viewport_size({"width": NARROWEST, "height": HEIGHT})
        too_wide[f"{NARROWEST} px"] = page.evaluate(IS_TOO_WIDE)

        page.set_viewport_size({"width": A4_WITHOUT_MARGINS, "height": HEIGHT})
        page.emulate_media(media="print", color_scheme="light")
        too_wide["paper"] = page.evaluate(IS_TOO_WIDE)
        left, pale = page.evaluate(LEFT_ON_PAPER), page.evaluate(PALE_LINKS)
        return Found(
            visit=visit,
            violations=violations,
            too_wide={where: by for where, by in too_wide.items() if by > 0},
            cut_off=cut_off,
            moving=moving,
            hidden_by_the_bar=hidden,
            bar=bar,
            small=small,
            left_on_paper=left,
            pale_links=pale,
            weight=weight,
            requests=requests,
            elsewhere=elsewhere,
            faults=list(window.faults),
        )

    def _axe(self, page: Page, where: str) -> list[str]:
        # What lies half under the bar when the page opens is scrolled free of it, and axe counts it as too small; that
        # the bar never lies over what has the focus is asked by itself.
        page.evaluate(LAY_BARS, "static")
        violations = page.evaluate("(rules) => axe.run(document, rules).then((all) => all.violations)", RULES)
        page.evaluate(LAY_BARS, "")
        return [
            f"{where}: {one['id']}: {one['help']}: {node['html'][:160]} {' '.join(c['message'] for c in node['any'])}"
            for one in violations
            for node in one["nodes"][:3]
        ]

    def weight(self, html: Response) -> int:
        """Bytes of the page and of what it uses, but for photos.

        The page is counted as the server sends it: one that it compresses by what comes over the line. What is
        static is sent compressed where the program is installed, and is counted so.
        """
        for response in self.answers:
            if response.url not in self.sizes and not _is_photo(response.request):
                self.sizes[response.url] = len(gzip.compress(response.body()))
        used = {request.url for request in self.asked if not request.is_navigation_request()}
        sent = html.headers.get("content-length") if "content-encoding" in html.headers else None
        return int(sent or len(html.body())) + sum(self.sizes.get(url, 0) for url in used)


def _is_photo(request: Request) -> bool:
    return request.resource_type == "image" and not request.url.endswith(".svg")
