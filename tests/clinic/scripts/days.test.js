// A day of a field in words: in the order of our dates, in the language of the page, and in no time zone.
import assert from "node:assert/strict";
import process from "node:process";
import test from "node:test";

import { dayInWords } from "../../../clinic/static/clinic/days.js";

test("a day stands with its weekday, as the server writes days", () => {
  assert.equal(dayInWords("2026-11-27", "en-gb"), "Fri 27 Nov 2026");
  assert.equal(dayInWords("2026-09-01", "en-gb"), "Tue 1 Sep 2026");
  assert.equal(dayInWords("1931-02-03", "en"), "Tue 3 Feb 1931");
});

test("each language keeps that order and our figures", () => {
  assert.equal(dayInWords("2026-11-27", "de"), "Fr 27 Nov 2026");
  assert.match(dayInWords("2026-11-27", "fa"), /^\S+ 27 \S+ 2026$/);
  assert.match(dayInWords("2026-11-27", "ja"), /^\S+ 27 \S+ 2026$/);
});

test("a language that the browser does not know is English, and no error", () => {
  assert.equal(dayInWords("2026-11-27", "en-gb-x-brackets"), "Fri 27 Nov 2026");
  assert.equal(dayInWords("2026-11-27", "qya"), "Fri 27 Nov 2026");
  assert.equal(dayInWords("2026-11-27", "no language"), "Fri 27 Nov 2026");
  assert.equal(dayInWords("2026-11-27", ""), "Fri 27 Nov 2026");
});

test("no day has no words, and a year cut short stays short", () => {
  assert.equal(dayInWords("", "en"), "");
  assert.equal(dayInWords("2026-02-30", "en"), "");
  assert.equal(dayInWords("27/11/2026", "en"), "");
  assert.equal(dayInWords("0026-11-27", "en"), "Fri 27 Nov 26");
});

test("the day is the same in every time zone", () => {
  for (const zone of ["Pacific/Kiritimati", "America/Los_Angeles"]) {
    process.env.TZ = zone;
    assert.equal(dayInWords("2026-11-27", "en"), "Fri 27 Nov 2026");
  }
});
