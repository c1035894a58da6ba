"""The bench page as its user meets it, in a real browser. One test a run: page_test.py Page.test_NAME."""
import base64
import contextlib
import http.client
import json
import os
import pathlib
import re
import shutil
import struct
import subprocess
import sys
import tarfile
import tempfile
import threading
import time
import unittest
import urllib.parse
import zlib

from browser import DOWN, SPACE, TAB, Bench, Browser

SOURCE = os.environ["BINDHUE_SOURCE_DIR"]
SAMPLES = f"{SOURCE}/samples/photos"
PATIENCE = 200  # the longest wait for one answer, on a busy machine
PICKS = "document.querySelectorAll('#picks li').length"


def post(address, photo):
    """A photo sent as the page sends it, without the page."""
    at = urllib.parse.urlsplit(address)
    connection = http.client.HTTPConnection(at.hostname, at.port, timeout=PATIENCE)
    connection.request("POST", "/api/readings", photo, {"Origin": f"http://{at.netloc}"})
    response = connection.getresponse()
    return response.status, json.loads(response.read())


def ended(address, id):
    at = urllib.parse.urlsplit(address)
    while True:
        connection = http.client.HTTPConnection(at.hostname, at.port, timeout=PATIENCE)
        connection.request("GET", f"/api/readings/{id}")
        state = json.loads(connection.getresponse().read())
        if state["state"] in ("done", "failed"):
            return state
        time.sleep(0.1)


def black_png(width, height):
    """A sound PNG, a thousand times larger when decoded (ISO/IEC 15948)."""
    chunk = lambda kind, data: struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
    pack = zlib.compressobj(9)
    rows = b"".join(pack.compress(b"\0" * (3 * width + 1)) for _ in range(height)) + pack.flush()
    return (b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)) + chunk(b"IDAT", rows)
            + chunk(b"IEND", b""))


def film_of(photo):
    """A film that shows one photo, for a browser's false camera: frames of YUV4MPEG2, made by a browser."""
    with Browser() as maker:
        maker.open("about:blank")
        width, height, frame = maker.run(FRAME, "data:image/jpeg;base64," + base64.b64encode(pathlib.Path(photo).read_bytes()).decode())
    return f"YUV4MPEG2 W{width} H{height} F5:1 Ip A1:1 C420\n".encode() + (b"FRAME\n" + base64.b64decode(frame)) * 2


FRAME = """
const [photo] = arguments, kr = 0.299, kb = 0.114, kg = 1 - kr - kb; // Recommendation ITU-R BT.601-7, 2.5.1; its range of levels, 2.5.3
return (async () => {
  const picture = await createImageBitmap(await (await fetch(photo)).blob(), {colorSpaceConversion: 'none'});
  const [w, h] = [picture.width, picture.height], canvas = document.createElement('canvas');
  canvas.width = w; canvas.height = h;
  const context = canvas.getContext('2d', {willReadFrequently: true});
  context.drawImage(picture, 0, 0);
  const {data} = context.getImageData(0, 0, w, h), out = new Uint8ClampedArray(w * h * 3 / 2);
  for (let y = 0; y < h; ++y) for (let x = 0; x < w; ++x) {
    const i = 4 * (y * w + x);
    out[y * w + x] = 16 + 219 / 255 * (kr * data[i] + kg * data[i + 1] + kb * data[i + 2]);
  }
  for (let y = 0; y < h; y += 2) for (let x = 0; x < w; x += 2) {
    let r = 0, g = 0, b = 0;
    for (const i of [4 * (y * w + x), 4 * (y * w + x + 1), 4 * ((y + 1) * w + x), 4 * ((y + 1) * w + x + 1)]) r += data[i] / 4, g += data[i + 1] / 4, b += data[i + 2] / 4;
    const luma = kr * r + kg * g + kb * b, at = w * h + (y / 2) * (w / 2) + x / 2;
    out[at] = 128 + 224 / 255 * (b - luma) / (2 - 2 * kb);
    out[at + w * h / 4] = 128 + 224 / 255 * (r - luma) / (2 - 2 * kr);
  }
  const url = await new Promise(done => { const r = new FileReader(); r.onload = () => done(r.result); r.readAsDataURL(new Blob([out])); });
  return [w, h, url.split(',')[1]];
})()
"""


class Page(unittest.TestCase):
    def setUp(self):
        self.bench = self.enterContext(Bench(os.environ["BINDHUE_COMMAND"], SOURCE))
        self.browser = self.enterContext(Browser())
        self.browser.open(self.bench.address)
        self.browser.until("document.getElementById('card').textContent !== ''", "the shop is known")

    def enterContext(self, manager):  # unittest has it from Python 3.11 on
        value = manager.__enter__()
        self.addCleanup(manager.__exit__, None, None, None)
        return value

    def read(self, photo):
        self.browser.type("#file", f"{SAMPLES}/{photo}")
        self.browser.until(f"{PICKS} > 0", "spools are ranked", PATIENCE)

    def refused(self, path):
        self.browser.type("#file", str(path))
        self.browser.until("!document.getElementById('trouble').hidden", "a refusal is shown", PATIENCE)
        self.assertNotEqual(self.browser.text("#mend"), "")
        return self.browser.text("#what")

    def all_is_well(self):
        self.assertEqual(self.browser.complaints(), [])
        self.assertTrue(self.bench.alive())

    def test_the_first_paint_comes_at_once(self):
        # Beside it, turn by turn, a few words by the same server: what a browser takes to show anything at all.
        pages, paints = {"the page": "", "a few words": "api/jobs"}, {}
        for _ in range(7):
            for name, path in pages.items():
                self.browser.open("about:blank")
                self.browser.open(self.bench.address + path)
                self.browser.until("performance.getEntriesByName('first-contentful-paint').length > 0", "the page is painted")
                paints.setdefault(name, []).append(self.browser.run(
                    "return [performance.getEntriesByName('first-contentful-paint')[0].startTime, performance.getEntriesByType('navigation')[0].responseEnd]"))
        middle = {name: [sorted(column)[3] for column in zip(*rows)] for name, rows in paints.items()}
        for name, (paint, sent) in middle.items():
            print(f"first paint of {name} on loopback: {paint:.0f} ms, of which the server's {sent:.0f} ms (medians of 7; the page is wanted under 100)")
        self.assertLess(middle["the page"][0], 1000)  # figures to look at, no race: this machine has other work
        self.assertLess(middle["the page"][1], 500)
        self.assertEqual([c for c in self.browser.complaints() if "favicon" not in c], [])  # of the words alone the browser wants a mark

    def test_a_photo_becomes_a_rod_and_its_bands_are_matched(self):
        b = self.browser
        self.read("door.jpg")
        # What the command says of the same photo, to the digit that is shown.
        common = ["--card", f"{SOURCE}/samples/card.json", "--json"]
        run = lambda *words: json.loads(subprocess.run([os.environ["BINDHUE_COMMAND"], *words, *common], capture_output=True, check=True).stdout)
        reading = run("read", f"{SAMPLES}/door.jpg")
        matches = run("match", f"{SAMPLES}/door.jpg", "--shop", f"{SOURCE}/palettes/demo-shop", "--top", "8")
        chips = b.run("return [...document.querySelectorAll('.chip')].map(c => c.innerText)")
        self.assertEqual(len(chips), len(reading["bands"]))
        for chip, band in zip(chips, reading["bands"]):
            self.assertIn(f"{band['role']} {band['length_mm']:.1f} mm", " ".join(chip.split()))
            for axis, value in zip("Lab", band["lab"]):
                self.assertIn(f"{axis}* {value:.1f}", chip)
        picks = b.run("return [...document.querySelectorAll('.pick')].map(p => p.innerText)")
        self.assertEqual(len(picks), 8)
        for pick, candidate in zip(picks, matches["candidates"]):
            self.assertIn(candidate["spool"], pick)
            self.assertIn(f"{candidate['delta_e_at_best']:.1f} CIEDE2000", pick)
            self.assertIn(f"expected {candidate['delta_e']:.1f}", pick)
            self.assertIn(candidate["leans"], pick)
            self.assertIn("no coat test" if candidate["coat_tests"] == 0 else f"by {candidate['coat_tests']} coat test", pick)
        # The photo is there, with card, opening and bands drawn where they are.
        self.assertTrue(b.run("const p = document.getElementById('picture'); return p.complete && p.naturalWidth > 0"))
        self.assertEqual(b.run("return ['.card', '.opening', '.band'].map(c => document.querySelectorAll(`#over polygon${c}`).length)"), [1, 1, 7])
        # The strip is to scale: as the reading's lengths are to each other and to the diameter.
        box = b.run("return [...document.querySelectorAll('.rod')[0].querySelectorAll('g.band')].map(g => g.getBoundingClientRect()).map(r => [r.width, r.height])")
        for i, j in ((2, 5), (1, 2)):
            self.assertAlmostEqual(box[i][0] / box[j][0], reading["bands"][i]["length_mm"] / reading["bands"][j]["length_mm"], delta=0.03)
        self.assertAlmostEqual(box[2][0] / box[0][1], reading["bands"][2]["length_mm"] / reading["blank_diameter_mm"], delta=0.1)
        # Another band by touching the rod.
        b.run("document.querySelectorAll('.rod')[0].querySelectorAll('g.band')[5].dispatchEvent(new MouseEvent('click', {bubbles: true}))")
        b.until("document.getElementById('match-status').textContent.endsWith('band 6')", "band 6 is matched")
        self.assertNotEqual(b.run("return document.querySelector('.pick').innerText"), picks[0])
        # A wider limit passes more often.
        before = b.run("return document.querySelector('.pick .how-near').innerText")
        b.run("const t = document.getElementById('tolerance'); t.value = 12; t.dispatchEvent(new Event('input', {bubbles: true}))")
        b.until("document.querySelector('.pick .how-near').innerText.includes('within 12.0')", "the limit is asked again")
        self.assertNotEqual(b.run("return document.querySelector('.pick .how-near').innerText"), before)
        self.assertEqual(b.run("return performance.getEntriesByType('resource').map(e => e.name).filter(n => !n.startsWith(location.origin))"), [])
        self.all_is_well()

    def test_what_is_picked_becomes_a_job_sheet_in_four_clicks(self):
        b = self.browser
        began = time.monotonic()
        bench = self.enterContext(Bench(os.environ["BINDHUE_COMMAND"], SOURCE))
        b.open(bench.address)
        self.read("door.jpg")  # one click on the photo's field, one on the file
        b.click("#put")
        here = b.windows()
        b.click("#open")  # a click goes through only where the control is seen and nothing lies over it
        b.until_windows(2)
        b.switch(next(w for w in b.windows() if w not in here))
        b.until("document.body?.innerText.includes('Thread to have at hand')", "the sheet is open")
        paper = b.devtools("Page.printToPDF")["data"]
        self.assertTrue(base64.b64decode(paper).startswith(b"%PDF"))
        took = time.monotonic() - began
        print(f"from bindhue bench to a printed sheet: 4 clicks, {took:.1f} s of the machine's")
        self.assertLess(took, PATIENCE)  # a figure to look at, no race: under the sanitizers a reading alone takes a minute
        b.switch(here[0])
        self.bench = bench
        spool = b.text("#picks li .who b")
        b.run("document.querySelectorAll('[name=band]')[5].click()")
        b.until("document.getElementById('put').textContent.endsWith('band 6')", "band 6 is matched")
        other = b.text("#picks li .who b")
        b.run("document.getElementById('put').click()")
        b.run("const n = document.getElementById('name'); n.value = '<b>trout</b> & co'; n.dispatchEvent(new Event('input'))")
        sheet = b.run("return document.getElementById('open').href")
        self.all_is_well()
        b.open(sheet)
        words = b.text("body")
        for said in ("Job <b>trout</b> & co", spool, other, "31.8", "30.1", "Thread to have at hand", "coat 2 of 2", "Wait", "Test wrap",
                     "gloves, eye protection", "data sheet"):
            self.assertIn(said, words)
        self.assertEqual(b.run("return document.querySelectorAll('svg rect').length"), 7 + 5)
        self.all_is_well()

    def command(self, *words):
        return json.loads(subprocess.run([os.environ["BINDHUE_COMMAND"], *words, "--json"], capture_output=True, check=True).stdout)

    def picked(self):
        return self.browser.run("return [...document.querySelectorAll('.pick')].map(p => p.innerText)")

    def ranked(self, words):
        self.browser.until(f"document.getElementById('target').textContent.includes({json.dumps(words)}) || document.getElementById('match-status').textContent.includes({json.dumps(words)})", words)

    def test_a_band_is_matched_as_it_looks_now_or_as_it_was_when_new_and_under_other_lights(self):
        b, shop = self.browser, self.own_shop()
        b.run("document.querySelector('[name=purpose][value=new]').click()")
        self.read("door.jpg")
        self.ranked("as it was when new")
        for light in ("D65", "A"):
            b.run(f"document.querySelector('[name=judged][value={light}]').click()")
        b.until("document.getElementById('picks').innerText.includes('worst under')", "lights are told")
        told = self.command("match", f"{SAMPLES}/door.jpg", "--shop", shop, "--card", f"{SOURCE}/samples/card.json", "--as-new", "--light", "D65,A", "--amber", "0.75")
        L, a, b_ = told["target"]["lab"]
        self.assertIn(f"L* {L:.1f}  a* {a:.1f}  b* {b_:.1f}", b.run("return document.getElementById('target').textContent"))
        self.assertIn("lets 0.75 of the light", b.text("#target"))
        for pick, candidate in zip(self.picked(), told["candidates"]):
            self.assertIn(candidate["spool"], pick)
            self.assertIn(f"{candidate['delta_e_at_best']:.1f} CIEDE2000", pick)
            self.assertIn(f"expected {candidate['delta_e']:.1f}", pick)
            self.assertIn(", ".join(f"{l['light']}: {l['delta_e']:.1f}" for l in candidate["lights"]), pick)
        # Sheet and job say that it is not the colour as it looks now.
        b.run("document.getElementById('put').click()")
        self.assertIn("as it was when new", b.text("#wraps"))
        self.assertIn("before its finish went amber", b.run("return fetch(document.getElementById('open').href).then(sheet => sheet.text())"))
        # Or by one place without the old finish and under it.
        for id, text in {"amber-bare": "93,-1,2", "amber-coated": "88,-3,24"}.items():
            b.type(f"#{id}", text)
        b.until("/lets 0[.](?!75)/.test(document.getElementById('target').textContent)", "the amber is read")
        b.run("document.getElementById('amber-coated').value = ''; document.getElementById('amber-coated').dispatchEvent(new Event('input', {bubbles: true}))")
        self.ranked("How amber the old finish is must be known")
        # Thread that the sun did not reach, in a photo of its own, gives the band its colour.
        b.run("document.querySelector('[name=purpose][value=now]').click()")
        b.until(f"{PICKS} > 0", "spools are ranked")
        chips = b.run("return [...document.querySelectorAll('.chip')].map(c => c.innerText)")
        b.type("#shaded", f"{SAMPLES}/cane.jpg")
        b.until("document.getElementById('notes').innerText.includes('colour is that of the longest wrap in cane.jpg')", "the other photo is read", PATIENCE)
        after = b.run("return [...document.querySelectorAll('.chip')].map(c => c.innerText)")
        self.assertEqual(after[:2] + after[3:], chips[:2] + chips[3:])
        self.assertNotEqual(after[2], chips[2])
        # The underwrap that it was matched over stays with the job, and its thread is reckoned.
        b.run("for (const box of document.querySelectorAll('[name=ground]:checked')) box.click()")
        b.type("#underwrap", "R5-02")
        b.until("document.querySelector('.pick .who').innerText.includes('over underwrap:R5-02')", "the underwrap is ranked")
        spool = b.text("#picks li .who b")
        b.run("document.getElementById('put').click()")
        b.type("#name", "cane-2")
        b.run("document.getElementById('keep').click()")
        b.until("document.querySelectorAll('#kept > li').length === 1", "the job is listed")
        job = self.command("job", "show", "cane-2", "--shop", shop)
        self.assertEqual([(x["spool"], x["ground"]) for x in job["bands"]], [(spool, "underwrap:R5-02")])
        self.assertEqual({s["spool"] for s in job["spools"]}, {spool, "R5-02"})
        self.assertEqual(job["photos"], ["photo-1.jpg", "elsewhere-1.jpg"])
        links = b.run("return [...document.querySelectorAll('#kept a')].map(a => a.href)")
        self.all_is_well()
        b.open(links[0])
        self.assertIn("an underwrap of R5-02", b.text("body"))
        b.open(links[1])
        self.assertIn("as it is expected over an underwrap of R5-02", b.text("body"))
        self.all_is_well()

    def test_spools_are_enrolled_by_a_photo_and_where_one_has_drifted_nothing_is_kept(self):
        b, shop = self.browser, self.own_shop()
        b.run("document.getElementById('enrol').open = true")
        b.type("#enrol-light", "door")
        b.type("#enrol-by", "phone")
        b.type("#enrol-photo", f"{SAMPLES}/shelf.jpg")
        b.until("!document.getElementById('enrol-form').hidden", "the photo is read", PATIENCE)
        self.assertEqual(b.run("return document.querySelectorAll('[data-band]').length"), 7)
        keep = "document.querySelector('#enrol-form [type=submit]').click()"
        b.run(keep)
        b.until("document.getElementById('enrol-said').textContent.includes('no spool is named')", "a photo without codes is refused")
        for band, code in ((2, "red"), (4, "pale"), (6, "green")):
            b.type(f"[data-band='{band}']", code)
        shown = b.text(".bands-to-enrol")
        b.run(keep)
        b.until("document.getElementById('enrol-said').textContent.includes('its material is not said')", "new spools need a material")
        b.run("document.querySelector('#enrol-form [name=material]').value = 'nylon'")
        b.type("#enrol-form [name=size_mm]", "0.15")
        b.run(keep)
        b.until("document.getElementById('enrol-said').textContent.startsWith('3 readings are in the rack')", "they are kept")
        spools = {s["code"]: s for s in self.command("spool", "list", "--shop", shop)["spools"]}
        self.assertEqual(len(spools), 147)
        for code in ("red", "pale", "green"):
            self.assertIn("L* {:.1f} a* {:.1f} b* {:.1f}".format(*spools[code]["lab"]), shown)
        b.until("document.getElementById('spools').innerText.includes('147 spools')", "the table has them")
        rack = pathlib.Path(f"{shop}/spools.json").read_bytes()
        b.type("#enrol-photo", f"{SAMPLES}/shelf-later.jpg")
        b.until("!document.getElementById('enrol-form').hidden", "the later photo is read", PATIENCE)
        for band, code in ((2, "red"), (4, "pale"), (6, "green")):
            b.type(f"[data-band='{band}']", code)
        b.run(keep)
        b.until("document.getElementById('enrol-said').textContent.includes('nothing was kept: pale')", "the drift is told")
        self.assertIn("no drift", b.text("#enrol table"))
        self.assertEqual(pathlib.Path(f"{shop}/spools.json").read_bytes(), rack)
        b.run("document.querySelector('[name=changed]').click(); " + keep)
        b.until("document.getElementById('enrol-said').textContent.startsWith('3 readings')", "it is kept when the thread is said to have changed")
        self.assertEqual(self.command("spool", "list", "--shop", shop)["spools"][-2]["code"], "pale")
        complaints = [c for c in b.complaints() if "/spools" not in c]  # the two refusals
        self.assertEqual(complaints, [])
        self.assertTrue(self.bench.alive())

    def test_a_test_wrap_is_checked_and_kept_as_a_coat_test(self):
        b, shop = self.browser, self.own_shop()
        tests = lambda: json.loads(pathlib.Path(f"{shop}/coat-tests.json").read_text())["tests"]
        before = len(tests())
        b.run("document.getElementById('test').open = true")
        for side, photo in (("before", "test-dry.jpg"), ("after", "test-finished.jpg")):
            b.type(f"#test-{side}", f"{SAMPLES}/{photo}")
            b.until(f"document.querySelectorAll('#test-{side}-band option').length > 1", f"{photo} is read", PATIENCE)
        b.type("#test-spool", "nobody")
        b.run("document.querySelector('#test-form [type=submit]').click()")
        b.until("document.getElementById('test-said').textContent.includes('no spool has the code')", "an unknown spool is refused")
        b.run("document.getElementById('test-spool').value = 'R1-12'; document.querySelector('#test-form [type=submit]').click()")
        b.until("document.querySelectorAll('#test table').length === 2", "the test is told")
        words = b.text("#test-form")
        self.assertRegex(words, r"(as expected|can't tell): the finished wrap is \d+\.\d CIEDE2000 \(\d+\.\d to \d+\.\d\) from what was expected")
        self.assertIn("9 coat tests of this material and schedule", words)
        self.assertRegex(words, r"L\* -\d+\.\d \(-\d+\.\d to -\d+\.\d\) -\d+\.\d")  # a coat without preserver darkens
        self.assertEqual(len(tests()), before)
        b.run("document.getElementById('test-keep').click()")
        b.until("document.getElementById('test-said').textContent.startsWith('Kept')", "it is kept")
        self.assertEqual(len(tests()), before + 1)
        self.assertIn("test wrap of R1-12: before test-dry.jpg; after test-finished.jpg", tests()[-1]["source"])
        complaints = [c for c in b.complaints() if "/api/coats/check" not in c]  # the refusal
        self.assertEqual(complaints, [])
        self.assertTrue(self.bench.alive())

    def test_the_page_speaks_in_the_shops_words_and_units(self):
        b, shop = self.browser, self.own_shop()
        subprocess.run([os.environ["BINDHUE_COMMAND"], "shop", "settings", "--shop", shop, "--units", "inches", "--wrap-word", "whip", "--guide-word", "ring"], capture_output=True, check=True)
        b.open(self.bench.address)
        self.assertIn("New whippings beside old ones", b.text("#purpose"))
        self.assertIn("of the whipping in the card's opening", b.text("#drop"))
        self.assertIn("Make a test whipping on scrap", b.text("#care"))
        self.read("door.jpg")
        edges = b.run("return [...document.querySelectorAll('.handle')].map(h => Number(h.getAttribute('aria-valuenow')))")  # millimetres
        told = re.search(r"3 whipping (\d\.\d\d) in", b.run("return document.querySelectorAll('.chip')[2].innerText")).group(1)
        self.assertAlmostEqual(float(told), (edges[2] - edges[1]) / 25.4, delta=0.01)
        self.assertRegex(b.text(".ruler"), r"^1\s*2\s*3\s*4 in$")
        self.assertIn("Under a ring foot", b.run("return document.getElementById('more').textContent"))
        # Edges are typed in inches, and are the same places.
        b.run("document.getElementById('edges').open = true")
        self.assertAlmostEqual(float(b.run("return document.querySelectorAll('.edge-list input')[2].value")), edges[2] / 25.4, delta=0.003)
        b.run("const f = document.querySelectorAll('.edge-list input')[2]; f.value = 2; f.dispatchEvent(new Event('input', {bubbles: true}))")
        self.assertAlmostEqual(b.run("return Number(document.querySelectorAll('.handle')[2].getAttribute('aria-valuenow'))"), 50.8, delta=0.06)
        b.run("document.getElementById('put').click()")
        self.assertAlmostEqual(float(b.run("return document.querySelector(\"[aria-label='Band 3: in wide']\").value")), (edges[2] - edges[1]) / 25.4, delta=0.005)
        self.assertIn("whippings like it", b.text("#wraps"))
        self.assertNotIn("mm", b.run("return ['intake', 'bands', 'match', 'job', 'stage'].map(id => document.getElementById(id).innerText).join(' ').replace(/px\\/mm/g, '')"))
        self.all_is_well()

    def test_a_rack_of_ten_thousand_spools_leaves_the_page_quick(self):
        b = self.browser
        with tempfile.TemporaryDirectory() as shop:
            text = json.loads(pathlib.Path(f"{SOURCE}/palettes/demo-shop/spools.json").read_text())
            few = text["spools"]
            text["spools"] = [{**few[i % len(few)], "code": f"B{i}"} for i in range(10000)]
            pathlib.Path(f"{shop}/spools.json").write_text(json.dumps(text))
            self.bench = self.enterContext(Bench(os.environ["BINDHUE_COMMAND"], SOURCE, shop))
            b.open(self.bench.address)
            b.until("document.querySelectorAll('#spools tbody tr').length > 0", "the rack is told")
            took = b.run("return performance.now()")
            sizes = b.run("return performance.getEntriesByType('resource').filter(e => e.name.includes('/api/')).map(e => [e.name.replace(location.origin, ''), e.decodedBodySize])")
            print(f"a rack of 10000 spools: told {took:.0f} ms after the page was asked for, {sizes}")
            self.assertLess(sum(size for _, size in sizes), 400_000)
            self.assertEqual(b.run("return document.querySelectorAll('#spools tbody tr').length"), 500)
            self.assertIn("10000 spools: the first 500", b.text("#spools h3"))
            b.type("#find", "b9987")
            b.until("document.querySelectorAll('#spools tbody tr').length === 1", "one is found")
            self.assertIn("B9987", b.text("#spools tbody tr"))
            b.run("document.getElementById('underwrap').focus()")
            b.run("document.getElementById('choices').open = true; document.getElementById('ask').hidden = false; document.getElementById('underwrap').focus()")
            b.press(*"B9999")
            b.until("[...document.querySelectorAll('#codes option')].map(o => o.value).join() === 'B9999'", "its code is offered")
            self.all_is_well()

    def own_shop(self):
        """A copy of the demo shop that may be written to, and a bench on it."""
        folder = self.enterContext(tempfile.TemporaryDirectory())
        shop = f"{folder}/shop"
        shutil.copytree(f"{SOURCE}/palettes/demo-shop", shop)
        self.bench = self.enterContext(Bench(os.environ["BINDHUE_COMMAND"], SOURCE, shop))
        self.browser.open(self.bench.address)
        self.browser.until("document.getElementById('card').textContent !== ''", "the shop is known")
        return shop

    def test_picks_are_kept_as_a_job_which_the_page_and_the_command_list(self):
        b, shop = self.browser, self.own_shop()
        b.until("document.getElementById('jobs-said').textContent.startsWith('No job')", "no job is there")
        b.type("#light", "door")
        self.read("door.jpg")
        spool = b.text("#picks li .who b")
        b.run("document.getElementById('put').click(); document.getElementById('keep').click()")
        b.until("document.getElementById('keep-said').textContent.includes('is no name for a job')", "a job without a name is refused")
        b.type("#name", "trout-4")
        b.type("#note", "<i>as it was</i>")
        b.run("document.getElementById('keep').click()")
        b.until("document.querySelectorAll('#kept > li').length === 1", "the job is listed")
        self.assertIn("Kept as trout-4", b.text("#keep-said"))
        for said in ("trout-4", spool, "<i>as it was</i>", "31.8 mm"):
            self.assertIn(said, b.text("#kept"))
        b.run("document.getElementById('keep').click()")
        b.until("document.getElementById('keep-said').textContent.includes('already')", "the name is taken")
        b.run("document.querySelector('#kept details').open = true")
        b.until("document.querySelector('#kept img')?.naturalWidth > 0", "its photo is shown")
        self.assertEqual(b.run("return document.querySelectorAll('#kept .rod g.band').length"), 7)
        job = json.loads(subprocess.run([os.environ["BINDHUE_COMMAND"], "job", "show", "trout-4", "--shop", shop, "--json"], capture_output=True, check=True).stdout)
        self.assertEqual([band["spool"] for band in job["bands"]], [spool])
        self.assertEqual(job["photos"], ["photo-1.jpg"])
        b.open(b.run("return document.querySelector('#kept a').href"))
        for said in ("Job trout-4", spool, "<i>as it was</i>", "The old wraps as read"):
            self.assertIn(said, b.text("body"))
        complaints = [c for c in b.complaints() if "/job" not in c]  # the two refusals
        self.assertEqual(complaints, [])
        self.assertTrue(self.bench.alive())

    def lengths(self):
        return self.browser.run("return [...document.querySelectorAll('.chip')].map(c => parseFloat(c.innerText.match(/([0-9.]+) mm/)[1]))")

    def corrected(self, bands):
        self.browser.until(f"document.getElementById('wait').hidden && document.querySelectorAll('.chip').length === {bands} && {PICKS} > 0", f"{bands} bands are read", PATIENCE)

    def test_edges_are_corrected_by_pointer_and_by_keyboard_and_what_is_no_band_is_joined(self):
        b = self.browser
        self.read("door.jpg")
        before = self.lengths()
        b.run("document.getElementById('edges').open = true; document.querySelector('.edges').scrollIntoView({block: 'center'})")
        box = b.run("const e = document.querySelectorAll('.handle')[4].getBoundingClientRect(), s = document.querySelector('.edges').getBoundingClientRect(); return [e.x + e.width / 2, e.y + e.height / 2, s.width]")
        whole = sum(before)
        b.drag(box[:2], [box[0] + 5 * box[2] / whole, box[1]])  # five millimetres to the right
        moved = b.run("return Number(document.querySelectorAll('.handle')[4].getAttribute('aria-valuenow'))")
        self.assertAlmostEqual(moved, 71.9 + 5, delta=0.3)
        b.run("document.querySelectorAll('.handle')[5].focus()")
        b.press("\ue012", "\ue012")  # the left arrow: a tenth of a millimetre each
        self.assertAlmostEqual(b.run("return Number(document.activeElement.getAttribute('aria-valuenow'))"), 102.1 - 0.2, delta=0.06)
        self.assertEqual(b.run("return document.querySelectorAll('.edge-list input')[5].value"), b.run("return document.activeElement.getAttribute('aria-valuenow')"))
        # Past its neighbour no edge goes.
        b.run("const f = document.querySelectorAll('.edge-list input')[0]; f.value = 90; f.dispatchEvent(new Event('input', {bubbles: true})); f.dispatchEvent(new Event('blur'))")
        self.assertLess(b.run("return Number(document.querySelectorAll('.handle')[0].getAttribute('aria-valuenow'))"), 18.5)
        b.run("document.querySelectorAll('.edges ~ .buttons button')[1].click()")  # back to those that were read
        self.assertEqual(b.run("return document.querySelectorAll('.edges ~ .buttons button')[0].disabled"), True)
        # The first trim is joined with its wrap by keyboard, and the reading made anew.
        b.run("document.querySelectorAll('.handle')[1].focus()")
        b.press("\ue017")  # Delete
        self.assertEqual(b.run("return document.querySelectorAll('.handle').length"), 5)
        b.run("document.querySelectorAll('.edges ~ .buttons button')[0].focus()")
        b.press(SPACE)
        self.corrected(6)
        after = self.lengths()
        self.assertAlmostEqual(after[1], before[1] + before[2], delta=0.11)
        self.assertAlmostEqual(after[4], before[5], delta=0.11)
        # And divided again.
        b.run("document.getElementById('edges').open = true; document.querySelectorAll('.edges ~ .buttons button')[2].click()")
        self.assertEqual(b.run("return document.querySelectorAll('.handle').length"), 6)
        b.run("document.querySelectorAll('.edges ~ .buttons button')[0].click()")
        self.corrected(7)
        self.all_is_well()

    def test_a_region_given_by_hand_gives_a_band_its_colour(self):
        b = self.browser
        self.read("door.jpg")
        b.run("document.querySelectorAll('[name=band]')[5].click()")
        before = b.run("return [...document.querySelectorAll('.chip')].map(c => c.innerText)")
        b.run("document.getElementById('region').open = true; document.getElementById('found').scrollIntoView({block: 'center'})")
        box = b.run("const r = document.querySelectorAll('#over polygon.band')[5].getBoundingClientRect(); return [r.x, r.y, r.width, r.height]")
        b.drag([box[0] + 0.3 * box[2], box[1] + 0.4 * box[3]], [box[0] + 0.7 * box[2], box[1] + 0.6 * box[3]])
        numbers = b.run("return [...document.querySelectorAll('.numbers input')].map(i => i.valueAsNumber)")
        self.assertTrue(all(n > 2 for n in numbers), numbers)
        self.assertEqual(b.run("return document.querySelector('#region select').value"), "6")
        b.run("document.querySelector('#region button').click()")
        b.until("document.getElementById('notes').innerText.includes('region given by hand')", "the region is read", PATIENCE)
        after = b.run("return [...document.querySelectorAll('.chip')].map(c => c.innerText)")
        self.assertEqual(after[:5] + after[6:], before[:5] + before[6:])
        self.assertNotEqual(after[5], before[5])
        self.assertEqual(b.run("return document.querySelector('[name=band]:checked').value"), "6")
        # Alone, by numbers.
        b.run("document.getElementById('region').open = true; [...document.querySelectorAll('.numbers input')].forEach((f, i) => { f.value = [900, 700, 120, 8][i]; f.dispatchEvent(new Event('input')); })")
        b.run("document.querySelector('#region select').value = '0'; document.querySelector('#region button').click()")
        self.corrected(1)
        # A region has neither width nor blank: both are asked for before it goes on a sheet.
        b.until("!document.getElementById('put').disabled", "spools are ranked")
        b.run("document.getElementById('put').click()")
        self.assertIn("band 1 were not read", b.text("#sheet-said"))
        self.assertIsNone(b.run("return document.getElementById('open').getAttribute('href')"))
        fill = "const f = document.querySelector(`[aria-label='Band 1: ${arguments[0]}']`); f.value = arguments[1]; f.dispatchEvent(new Event('input'))"
        b.run(fill, "mm wide", "31.5")
        b.run(fill, "mm blank", "9.2")
        self.assertEqual(b.text("#sheet-said"), "")
        self.all_is_well()
        b.open(b.run("return document.getElementById('open').href"))
        for said in ("31.5", "9.2", "Thread to have at hand"):
            self.assertIn(said, b.text("body"))
        self.all_is_well()

    def test_where_no_rod_is_found_a_region_can_be_given_on_the_photo_itself(self):
        b = self.browser
        reading = json.loads(subprocess.run([os.environ["BINDHUE_COMMAND"], "read", f"{SAMPLES}/door.jpg", "--card", f"{SOURCE}/samples/card.json", "--json"], capture_output=True, check=True).stdout)
        with Browser() as painter:  # the same photo with an even grey over the opening
            painter.open("about:blank")
            painted = painter.run("""const [photo, opening] = arguments;
                return (async () => {
                  const picture = await createImageBitmap(await (await fetch(photo)).blob()), canvas = document.createElement('canvas');
                  canvas.width = picture.width; canvas.height = picture.height;
                  const context = canvas.getContext('2d');
                  context.drawImage(picture, 0, 0);
                  context.fillStyle = '#a06050';
                  context.beginPath();
                  opening.forEach(([x, y]) => context.lineTo(x, y));
                  context.fill();
                  return canvas.toDataURL('image/png').split(',')[1];
                })()""", "data:image/jpeg;base64," + base64.b64encode(pathlib.Path(f"{SAMPLES}/door.jpg").read_bytes()).decode(), reading["card"]["opening_px"])
        photo = pathlib.Path(os.environ["BINDHUE_WORK"]) / "no-rod.png"
        photo.write_bytes(base64.b64decode(painted))
        self.refused(photo)
        b.until("document.getElementById('region').open && document.getElementById('picture').naturalWidth === 2000", "the photo is shown, and a region can be given")
        self.assertEqual(b.run("return [...document.querySelectorAll('#region option')].map(o => o.value)"), ["0"])
        b.run("document.getElementById('found').scrollIntoView({block: 'center'})")
        box = b.run("const r = document.getElementById('over').getBoundingClientRect(); return [r.x, r.y, r.width, r.height]")
        b.drag([box[0] + 0.4 * box[2], box[1] + 0.48 * box[3]], [box[0] + 0.45 * box[2], box[1] + 0.5 * box[3]])
        b.run("document.querySelector('#region button').click()")
        self.corrected(1)
        self.assertFalse(b.run("return document.getElementById('trouble').checkVisibility()"))
        lab = [float(x) for x in re.search(r"L\* (\S+)\s+a\* (\S+)\s+b\* (\S+)", b.text(".chip")).groups()]
        self.assertGreater(lab[1], 5)  # a brick red, whatever the photo's light made of it
        self.all_is_well()

    def test_a_second_photo_under_another_light_makes_one_reading_with_the_first(self):
        b = self.browser
        b.type("#light", "door")
        self.read("door.jpg")
        b.run("document.getElementById('light').value = ''")
        b.type("#light", "tube")
        b.type("#second", f"{SAMPLES}/door.jpg")
        b.until("document.getElementById('taken').textContent.startsWith('2 photos are read together: door, tube')", "both are read", PATIENCE)
        run = lambda *words: json.loads(subprocess.run([os.environ["BINDHUE_COMMAND"], *words], capture_output=True, check=True).stdout)
        both = run("read", f"{SAMPLES}/door.jpg", f"{SAMPLES}/door.jpg", "--taken-under", "door,tube", "--card", f"{SOURCE}/samples/card.json", "--json")
        chips = b.run("return [...document.querySelectorAll('.chip')].map(c => c.innerText)")
        for chip, band in zip(chips, both["bands"]):
            for axis, value, k in zip("Lab", band["lab"], range(3)):
                self.assertIn(f"{axis}* {value:.1f}", chip)
                self.assertIn(f"{1.96 * band['covariance'][k][k] ** 0.5:.1f}", chip)
        b.type("#second", f"{SAMPLES}/cane.jpg")
        b.until("!document.getElementById('trouble').hidden", "a photo of another rod is refused", PATIENCE)
        self.assertIn("does not show the wraps", b.text("#what"))
        self.assertEqual(len(self.lengths()), 7)  # what was read stays
        self.all_is_well()

    def test_shared_the_page_opens_to_one_client_by_its_code(self):
        try:
            bench = self.enterContext(Bench(os.environ["BINDHUE_COMMAND"], SOURCE, more=["--share"]))
        except json.JSONDecodeError:
            self.skipTest("this machine is on no network")
        b, shared = self.browser, bench.shared
        b.open(shared["address"])
        b.type("#code", "wrong")
        b.press("\ue007")
        b.until("document.getElementById('said').textContent.includes('this is not the code')", "a wrong code is refused")
        time.sleep(2.1)
        b.open(f"{shared['address']}#{shared['code']}")  # only the part behind # is new: loaded anew, as a phone would
        b.devtools("Page.reload")
        b.until("document.getElementById('card')?.textContent.includes('144 spools')", "the page opens")
        self.assertEqual(b.run("return [location.pathname, location.hash, document.cookie]"), ["/", "", ""])
        self.read("door.jpg")
        # This address is not one that a browser takes for safe: no camera, and what to do instead.
        b.run("document.getElementById('use-camera').click()")
        b.until("document.getElementById('no-camera').textContent.includes('From a phone, choose a photo')", "the camera is refused in words")
        other = self.enterContext(Browser())
        other.open(f"{shared['address']}#{shared['code']}")
        other.until("document.getElementById('said').textContent.includes('works once')", "no second client comes in")
        self.assertTrue(bench.alive())

    def test_coat_tests_are_drawn_and_told_with_what_was_to_be_expected(self):
        b = self.browser
        tests = json.loads(pathlib.Path(f"{SOURCE}/palettes/demo-shop/coat-tests.json").read_text())["tests"]
        b.run("document.getElementById('show-coats').focus()")
        b.press(SPACE)
        b.until("document.querySelectorAll('.coat').length > 0", "the tests are drawn", PATIENCE)
        groups = {(t["material"], t["schedule"]) for t in tests}
        self.assertEqual(b.run("return document.querySelectorAll('.coat').length"), len(groups))
        self.assertEqual(b.run("return document.querySelectorAll('.coat g').length"), 2 * len(tests))  # in a*b* and in lightness
        rows = b.run("return [...document.querySelectorAll('#coat-tests tbody tr')].map(r => r.innerText)")
        self.assertEqual(len(rows), len(tests))
        for row in rows:
            test = tests[int(row.split()[0]) - 1]
            labs = re.findall(r"L\* (\S+)\s+a\* (\S+)\s+b\* (\S+)", row)
            self.assertEqual(len(labs), 3, row)  # dry, seen, expected
            for told, lab in zip(labs, (test["dry"], test["finished"])):
                for text, value in zip(told, lab):
                    self.assertAlmostEqual(float(text), value, delta=0.0501)
        # The arrow's head lies where the finished colour does: further down the darker it is.
        first = b.run("return [...document.querySelectorAll('.coat')[0].querySelectorAll('g:nth-of-type(even) circle.dot')].map(c => Number(c.getAttribute('cy')))")
        shown = [row for row in rows[:len(first)]]
        light = [float(re.findall(r"L\* (\S+)", row)[1]) for row in shown]
        self.assertEqual(sorted(range(len(first)), key=lambda i: first[i]), sorted(range(len(light)), key=lambda i: -light[i]))
        self.all_is_well()

    def test_a_camera_of_this_machine_is_watched_and_its_picture_read(self):
        film = pathlib.Path(os.environ["BINDHUE_WORK"]) / "door.y4m"
        film.write_bytes(film_of(f"{SAMPLES}/door.jpg"))
        b = self.enterContext(Browser(arguments=["--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream", f"--use-file-for-fake-video-capture={film}"]))
        b.open(self.bench.address)
        b.until("document.getElementById('card').textContent !== ''", "the shop is known")
        b.run("document.getElementById('use-camera').focus()")
        b.press(SPACE)
        b.until("document.getElementById('advice').textContent !== ''", "the camera is watched", PATIENCE)
        b.until("document.getElementById('advice').textContent.startsWith('Good')", "the picture is good", 60)
        self.assertEqual(b.run("return [document.getElementById('live').videoWidth, document.getElementById('live').videoHeight]"), [2000, 1500])
        b.run("document.getElementById('shoot').focus()")
        b.press(SPACE)
        b.until(f"{PICKS} > 0", "the picture is read", PATIENCE)
        self.assertFalse(b.run("return document.getElementById('camera').checkVisibility()"))
        reading = json.loads(subprocess.run([os.environ["BINDHUE_COMMAND"], "read", f"{SAMPLES}/door.jpg", "--card", f"{SOURCE}/samples/card.json", "--json"], capture_output=True, check=True).stdout)
        chips = b.run("return [...document.querySelectorAll('.chip')].map(c => c.innerText)")
        self.assertEqual(len(chips), len(reading["bands"]))
        told = [float(x) for x in re.search(r"L\* (\S+)\s+a\* (\S+)\s+b\* (\S+)", chips[2]).groups()]
        for value, there in zip(told, reading["bands"][2]["lab"]):
            self.assertAlmostEqual(value, there, delta=2)  # the browser's own way from the film's colours to the picture's
        self.assertEqual(b.complaints(), [])
        # Without a camera, or on an address that no browser takes for safe, the page says what to do instead.
        self.browser.run("document.getElementById('use-camera').click()")
        self.browser.until("document.getElementById('no-camera').textContent !== ''", "it is said that there is none")
        self.assertIn("camera", self.browser.text("#no-camera"))
        self.assertTrue(self.bench.alive())

    def test_on_a_phone_nothing_is_wider_than_the_screen(self):
        for dark in (False, True):
            self.browser.shape(360, 740, dark, touch=True)
            self.browser.open(self.bench.address)
            self.read("cane.jpg")
            self.assertEqual(self.browser.run("return document.documentElement.scrollWidth"), 360)
            outside = self.browser.run(
                "return [...document.querySelectorAll('main *')].filter(e => e.getBoundingClientRect().right > 361 && !e.closest('svg') && !e.closest('table')).map(e => e.outerHTML.slice(0, 80))")
            self.assertEqual(outside, [])
            small = self.browser.run(
                "return [...document.querySelectorAll('label, summary, select')].filter(e => e.checkVisibility() && e.getBoundingClientRect().height < 24).map(e => e.outerHTML.slice(0, 80))")
            self.assertEqual(small, [])
        self.all_is_well()

    def test_at_any_width_nothing_lies_over_another(self):
        self.read("door.jpg")
        self.browser.run("document.getElementById('put').click(); for (const d of document.querySelectorAll('details')) d.open = true")
        for width in (480, 700, 960, 1180, 1920):
            self.browser.shape(width, 900)
            self.assertLessEqual(self.browser.run("return document.documentElement.scrollWidth"), width)
            over = self.browser.run("""
                const parts = [...document.querySelectorAll('main > section:not(#stage), .pick, .chip')].filter(e => e.checkVisibility());
                const boxes = parts.map(e => e.getBoundingClientRect()), over = [];
                for (let i = 0; i < parts.length; ++i) for (let j = 0; j < i; ++j) {
                    const a = boxes[i], b = boxes[j];
                    if (parts[i].contains(parts[j]) || parts[j].contains(parts[i])) continue;
                    if (Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1 && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 1)
                        over.push([parts[j].id || parts[j].className, parts[i].id || parts[i].className]);
                }
                return over;""")
            self.assertEqual(over, [], width)
        self.all_is_well()

    def tab_to(self, css, most=12):
        for _ in range(most):
            self.browser.press(TAB)
            if self.browser.run(f"return document.activeElement.matches('{css}')"):
                return
        self.fail(f"{css} is not reached in {most} steps")

    def test_everything_works_by_keyboard(self):
        b = self.browser
        b.press(TAB)
        self.assertEqual(b.run("return document.activeElement.className"), "skip")
        b.press(TAB)
        self.assertEqual(b.run("return [document.activeElement.name, document.activeElement.value]"), ["purpose", "now"])
        b.press(TAB)
        self.assertEqual(b.run("return document.activeElement.id"), "file")
        self.assertNotEqual(b.run("return getComputedStyle(document.activeElement).outlineStyle"), "none")
        self.read("door.jpg")
        b.run("document.getElementById('file').focus()")
        self.tab_to("[name=band]")
        self.assertEqual(b.run("return [document.activeElement.name, document.activeElement.value]"), ["band", "3"])
        b.press(DOWN)
        b.until("document.getElementById('match-status').textContent.endsWith('band 4')", "the arrow chooses the next wrap")
        self.assertNotIn("over white", b.text("#picks"))
        self.tab_to("[value=white]")
        b.press(SPACE)
        self.assertEqual(b.run("return [document.activeElement.value, document.activeElement.checked]"), ["white", True])
        b.until("document.getElementById('picks').innerText.includes('over white')", "white is ranked")
        self.tab_to("[name=pick]", 20)
        self.assertEqual(b.run("return [document.activeElement.name, document.activeElement.value]"), ["pick", "0"])
        second = b.run("return document.querySelectorAll('.pick .who b')[1].textContent")
        b.press(DOWN)
        self.assertIn(second, b.text("#strips"))
        # What has the focus is not hidden by the rod above it.
        self.assertTrue(b.run("const e = document.activeElement.getBoundingClientRect(); return e.top >= document.getElementById('stage').getBoundingClientRect().bottom"))
        self.all_is_well()

    def look_at_the_rack(self, asked="surfaces"):
        b = self.browser
        b.until("!document.getElementById('rack').hidden", "the rack is there")
        b.run(f"document.querySelector('[name=asked][value={asked}]').click(); document.getElementById('look').click()")
        b.until("!['', 'Looking at the rack: some seconds'].includes(document.getElementById('rack-said').textContent)", "the rack is audited", PATIENCE)

    def test_the_rack_is_drawn_and_told_as_the_command_tells_it(self):
        b = self.browser
        run = lambda *words: json.loads(subprocess.run([os.environ["BINDHUE_COMMAND"], *words, "--shop", f"{SOURCE}/palettes/demo-shop", "--json"], capture_output=True, check=True).stdout)
        audit, spools = run("audit"), run("spool", "list")["spools"]
        self.look_at_the_rack()
        self.assertIn(f"{len(spools)} spools serve {100 * audit['served']:.1f} % of the {audit['asked']['looks']} surface colours", b.text("#rack-said"))
        discs = b.run("return [...document.querySelectorAll('.disc')].map(d => [d.getAttribute('role'), d.getAttribute('aria-label'), d.querySelectorAll('.dot').length, d.querySelector('.open').getAttribute('d').length])")
        self.assertEqual([d[0] for d in discs], ["img"] * 3)
        self.assertEqual(sum(d[2] for d in discs), sum(int(d[1].split(" finished looks")[0].split()[-1]) for d in discs))
        self.assertGreater(sum(d[2] for d in discs), 2 * len(spools))
        self.assertTrue(all(d[3] > 100 for d in discs), discs)
        rows = lambda of: b.run(f"return [...document.querySelectorAll('{of} tbody tr')].map(r => r.innerText)")
        gaps = rows("#audit")
        self.assertEqual(len(gaps), 15)
        for row, gap in zip(gaps, audit["gaps"]):
            for said in (gap["words"], f"{100 * gap['share']:.1f} %", f"L* {gap['middle_lab'][0]:.1f}", f"{gap['delta_e']:.1f}", gap["nearest"]["spool"], gap["nearest"]["schedule"]):
                self.assertIn(said, row)
        self.assertIn(", ".join(audit["unneeded"]), b.text("#audit"))
        self.assertIn("No two spools are twins", b.text("#audit"))
        rack = rows("#spools")
        self.assertEqual(len(rack), len(spools))
        for row, spool in zip(rack, spools):
            for said in (spool["code"], spool["name"], spool["material"], f"{spool['size_mm']:.2f}"):
                self.assertIn(said, row)
            for told, value in zip(re.search(r"L\* (\S+) a\* (\S+) b\* (\S+)", row).groups(), spool["lab"]):
                self.assertAlmostEqual(float(told), value, delta=0.0501)
        for code in audit["unneeded"]:
            self.assertTrue(any(row.startswith(code) and "not needed" in row for row in rack), code)
        # The shop has no jobs to be audited against.
        self.look_at_the_rack("jobs")
        self.assertIn("No job of this shop has a reading", b.text("#rack-said"))
        self.assertIn("bindhue job new", b.text("#rack-said"))
        self.assertEqual(b.run("return document.querySelectorAll('.disc').length"), 0)
        complaints = [c for c in b.complaints() if "/api/rack/jobs" not in c]  # the refusal itself
        self.assertEqual(complaints, [])
        self.assertTrue(self.bench.alive())

    def test_twins_in_the_rack_and_what_is_left_on_a_spool_are_told(self):
        with tempfile.TemporaryDirectory() as shop:
            text = json.loads(pathlib.Path(f"{SOURCE}/palettes/demo-shop/spools.json").read_text())
            twin = json.loads(json.dumps(text["spools"][7]))
            twin.update(code="TWIN-1", name="<i>twin</i>", metres_left=42)
            text["spools"].append(twin)
            with open(f"{shop}/spools.json", "w") as out:
                json.dump(text, out)
            bench = self.enterContext(Bench(os.environ["BINDHUE_COMMAND"], SOURCE, shop))
            self.browser.open(bench.address)
            self.look_at_the_rack()
            code = text["spools"][7]["code"]
            self.assertIn(f"{code} and TWIN-1: no eye tells them apart", self.browser.text("#audit"))
            row = self.browser.run("return [...document.querySelectorAll('#spools tbody tr')].at(-1).innerText")
            for said in ("TWIN-1", "<i>twin</i>", "42", f"twin of {code}"):
                self.assertIn(said, row)
            self.assertEqual(self.browser.complaints(), [])

    def test_the_rack_works_by_keyboard_and_on_a_phone(self):
        b = self.browser
        for dark in (False, True):
            b.shape(360, 800, dark, touch=True)
            b.open(self.bench.address)
            b.until("!document.getElementById('rack').hidden", "the rack is there")
            b.run("document.querySelector('[name=asked]').focus()")
            b.press(TAB, SPACE)
            b.until("document.querySelectorAll('.disc').length === 3", "the rack is drawn", PATIENCE)
            self.assertEqual(b.run("return document.documentElement.scrollWidth"), 360)
            self.assertEqual(b.run("return [...document.querySelectorAll('.disc')].filter(d => d.getBoundingClientRect().width < 300).length"), 0)
            # A table that is wider than the screen is reached and scrolled by keyboard.
            b.run("document.getElementById('look').focus()")
            b.press(TAB)
            self.assertEqual(b.run("return document.activeElement.getAttribute('aria-label')"), "Gaps")
        self.all_is_well()

    def test_what_is_no_photo_is_refused_in_words_and_the_next_photo_read(self):
        work = pathlib.Path(os.environ["BINDHUE_WORK"])
        letter = work / "letter.jpg"
        letter.write_text("Dear shop, the red one please." * 100)
        self.refused(letter)
        empty = work / "empty.jpg"
        empty.write_bytes(b"")
        self.assertIn("empty", self.refused(empty))
        self.assertIn("no calibration card", self.refused(f"{SAMPLES}/nocard.jpg"))
        self.browser.complaints()  # refusals are answers with a status, which the console lists
        self.read("door.jpg")
        self.assertFalse(self.browser.run("return document.getElementById('trouble').checkVisibility()"))
        self.all_is_well()

    def test_a_photo_of_more_than_two_hundred_megapixels_is_refused_before_it_is_decoded(self):
        bomb = pathlib.Path(os.environ["BINDHUE_WORK"]) / "bomb.png"
        bomb.write_bytes(black_png(20001, 10000))
        self.assertIn("200 megapixels", self.refused(bomb))
        for ending in ("jpg", "png", "tiff", "dng"):
            with self.subTest(ending):
                self.assertRegex(self.refused(f"{SOURCE}/tests/fuzz/photos/claims-much.{ending}"), "too small|100 megapixels")
        self.assertTrue(self.bench.alive())

    def test_ten_photos_at_once_are_all_read_and_the_page_stays_quick(self):
        photo = pathlib.Path(f"{SAMPLES}/door.jpg").read_bytes()
        answers = []
        threads = [threading.Thread(target=lambda: answers.append(post(self.bench.address, photo))) for _ in range(9)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        self.assertEqual([status for status, _ in answers], [202] * 9)
        self.browser.type("#file", f"{SAMPLES}/navy.png")
        # While photos wait the page goes on: frames are drawn, and what is before the photo is said.
        self.browser.until("/before this one|of 4/.test(document.getElementById('doing').textContent)", "progress is told")
        frames = self.browser.run("let n = 0; return new Promise(done => { const end = performance.now() + 500; (function next() { ++n; performance.now() < end ? requestAnimationFrame(next) : done(n); })(); })")
        self.assertGreater(frames, 3)
        self.browser.until(f"{PICKS} > 0", "the tenth is read", PATIENCE)
        for _, answer in answers:
            self.assertEqual(ended(self.bench.address, answer["id"])["state"], "done")
        self.all_is_well()

    def test_a_dropped_connection_harms_nobody(self):
        import socket
        at = urllib.parse.urlsplit(self.bench.address)
        for _ in range(20):
            with contextlib.closing(socket.create_connection((at.hostname, at.port))) as half:
                half.sendall(f"POST /api/readings HTTP/1.1\r\nHost: {at.netloc}\r\nOrigin: http://{at.netloc}\r\nContent-Length: 100000000\r\n\r\n".encode() + b"x" * 5000)
        self.read("door.jpg")
        self.all_is_well()

    def test_every_control_has_a_name_for_a_screen_reader(self):
        self.read("door.jpg")
        nodes = self.browser.devtools("Accessibility.getFullAXTree")["nodes"]
        controls = [n for n in nodes if not n.get("ignored") and n.get("role", {}).get("value") in
                    ("button", "radio", "checkbox", "combobox", "spinbutton", "link", "image", "progressbar", "DisclosureTriangle", "list", "group")]
        self.assertGreater(len(controls), 20)
        nameless = [n["role"]["value"] for n in controls if not n.get("name", {}).get("value") and n["role"]["value"] not in ("list", "group")]
        self.assertEqual(nameless, [])
        radios = [n["name"]["value"] for n in controls if n["role"]["value"] == "radio"]
        self.assertTrue(any("dark red" in name and "L*" in name for name in radios), radios)
        self.all_is_well()

    def test_axe_core_has_no_serious_finding(self):
        self.browser.open(self.bench.address)
        axe = axe_core()
        for photo, dark, width in ((None, False, 1280), ("door.jpg", False, 1280), ("door.jpg", True, 1280), ("door.jpg", False, 360)):
            with self.subTest(photo=photo, dark=dark, width=width):
                self.browser.shape(width, 900, dark)
                self.browser.open(self.bench.address)
                if photo:
                    self.read(photo)
                    self.browser.run("document.getElementById('put').click(); for (const d of document.querySelectorAll('details')) d.open = true; document.getElementById('show-coats').click()")
                    self.browser.until("document.querySelectorAll('.coat').length > 0", "coat tests are drawn", PATIENCE)
                self.look_at_the_rack()
                self.browser.devtools("Runtime.evaluate", expression=axe)
                found = self.browser.run("return axe.run().then(r => r.violations.map(v => [v.impact, v.id, v.help, v.nodes.map(n => n.target.join(' ')).slice(0, 5)]))")
                self.assertEqual([v for v in found if v[0] in ("serious", "critical", "moderate")], [])
        self.browser.open(self.bench.address + "code.html")
        self.browser.devtools("Runtime.evaluate", expression=axe)
        found = self.browser.run("return axe.run().then(r => r.violations.map(v => [v.impact, v.id, v.help]))")
        self.assertEqual([v for v in found if v[0] in ("serious", "critical", "moderate")], [])


def axe_core(version="4.14.1"):
    """axe-core (MPL-2.0) from npm, kept in the build folder. Without npm or a network the test is skipped, and ctest says so."""
    work = pathlib.Path(os.environ["BINDHUE_WORK"])
    archive = work / f"axe-core-{version}.tgz"
    if not archive.exists():
        with contextlib.suppress(OSError, subprocess.SubprocessError):
            subprocess.run(["npm", "pack", f"axe-core@{version}"], cwd=work, check=True, capture_output=True, timeout=60)
    if not archive.exists():
        raise unittest.SkipTest("axe-core is not to be had: no npm, or no network")
    with tarfile.open(archive) as package:
        return package.extractfile("package/axe.min.js").read().decode()


if __name__ == "__main__":
    result = unittest.main(exit=False, verbosity=1).result
    sys.exit(1 if not result.wasSuccessful() else 77 if result.skipped else 0)
