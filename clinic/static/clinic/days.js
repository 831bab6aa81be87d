// Days in words: how a browser shows the day of a field follows its own language, and may be 11/12 for 12 November.

const PARTS = { weekday: "short", day: "numeric", month: "short", year: "numeric" };
// Our days have no time zone, and are counted and written in figures as the server does.
const PLAIN = { timeZone: "UTC", calendar: "gregory", numberingSystem: "latn" };
const ISO_DAY = /^\d{4}-\d\d-\d\d$/;

function formatter(language) {
  // Where British English shortens to “Sept”, the server writes “Sep”.
  const wanted = language.startsWith("en") ? "en" : language;
  try {
    return new Intl.DateTimeFormat([wanted, "en"], { ...PARTS, ...PLAIN });
  } catch {
    return new Intl.DateTimeFormat("en", { ...PARTS, ...PLAIN });
  }
}

/** “Fri 27 Nov 2026” for the ISO day that a field holds; nothing where it holds none. */
export function dayInWords(value, language) {
  const day = new Date(ISO_DAY.test(value) ? `${value}T00:00Z` : NaN);
  // A day that no month has would roll on into the next one.
  if (Number.isNaN(day.valueOf()) || day.getUTCDate() !== Number(value.slice(-2))) return "";
  const said = new Map(formatter(language).formatToParts(day).map((part) => [part.type, part.value]));
  return Object.keys(PARTS).map((name) => said.get(name).replace(/\.$/, "")).join(" ");
}
