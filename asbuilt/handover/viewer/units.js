"use strict";
// Lengths as people write and read them; metres inside. The same rules as the program's own:
// exact fractions, ties to the even graduation, never finer than the error warrants.

const Units = (() => {
  const PM = 1e12; // picometres to the metre: every graduation is a whole number of them
  const SIXTEENTH = 1587500000;
  const INCH = 16 * SIXTEENTH;
  const INCH_STEPS = [1, 2, 4, 8, 16, 32, 48, 96, 192, 384].map((n) => n * SIXTEENTH);
  const MM_STEPS = [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000].map((mm) => mm * 1e9);

  const isInch = (unit) => unit === "in" || unit === "ft";

  // Rounds to a whole number, a tie to the even one.
  function even(value) {
    const low = Math.floor(value);
    const rest = value - low;
    if (rest !== 0.5) return Math.round(value);
    return low % 2 === 0 ? low : low + 1;
  }

  // Whole picometres; numbers of this size are exact.
  const exact = (valueM) => even(valueM * PM);

  // The nearest multiple of a step, in steps; a tie goes to the even multiple.
  function steps(value, step) {
    const sign = value < 0 ? -1 : 1;
    const size = Math.abs(value);
    const whole = Math.floor(size / step);
    const rest = size - whole * step;
    if (2 * rest === step) return sign * (whole % 2 === 0 ? whole : whole + 1);
    return sign * (2 * rest > step ? whole + 1 : whole);
  }

  function stepFor(sigmaM, unit) {
    const all = isInch(unit) ? INCH_STEPS : MM_STEPS;
    const sigma = exact(sigmaM || 0);
    return all.find((step) => 2 * step >= sigma) || all[all.length - 1];
  }

  function mixed(sixteenths) {
    const whole = Math.floor(sixteenths / 16);
    let top = sixteenths % 16;
    if (!top) return String(whole);
    let bottom = 16;
    while (top % 2 === 0) { top /= 2; bottom /= 2; }
    return whole ? `${whole}-${top}/${bottom}` : `${top}/${bottom}`;
  }

  function inchText(value) {
    return `${value < 0 ? "-" : ""}${mixed(Math.abs(value) / SIXTEENTH)} in`;
  }

  function feetInchText(value) {
    const sixteenths = Math.abs(value) / SIXTEENTH;
    const feet = Math.floor(sixteenths / 192);
    const inches = sixteenths - feet * 192;
    if (!feet) return inchText(value);
    return `${value < 0 ? "-" : ""}${feet} ft ${inches > 0 && inches < 16 ? "0-" : ""}${mixed(inches)} in`;
  }

  const mmText = (value) => `${value / 1e9} mm`;

  function length(valueM, unit, sigmaM) {
    const step = stepFor(sigmaM, unit);
    const value = steps(exact(valueM), step) * step;
    return isInch(unit) ? feetInchText(value) : mmText(value);
  }

  function error(sigmaM, unit) {
    const step = stepFor(sigmaM, unit);
    const count = Math.max(1, Math.ceil(exact(1.96 * sigmaM) / step));
    return `+/- ${isInch(unit) ? inchErrorText(count * step) : mmText(count * step)} at 95 %`;
  }

  // Long errors in feet.
  function inchErrorText(pm) {
    return pm > 24 * INCH ? feetInchText(pm).replace(/ 0 in$/, "") : inchText(pm);
  }

  const NUMBER = "\\d+ ?[- ] ?\\d+ ?/ ?\\d+|\\d+ ?/ ?\\d+|(?:\\d+\\.\\d*|\\.\\d+|\\d+)";
  const NAMES = {
    ft: ["feet", "foot", "ft", "'"], in: ["inches", "inch", "ins", "in", '"'],
    mm: ["millimetres", "millimetre", "millimeters", "millimeter", "mm"],
    cm: ["centimetres", "centimetre", "centimeters", "centimeter", "cm"],
    m: ["metres", "metre", "meters", "meter", "m"],
  };
  const SIZE = { ft: 12 * INCH, in: INCH, mm: 1e9, cm: 1e10, m: PM };
  const WORDS = {};
  for (const unit of Object.keys(NAMES)) for (const name of NAMES[unit]) WORDS[name] = unit;
  const any = Object.keys(WORDS).sort((a, b) => b.length - a.length).join("|");
  const SIMPLE = new RegExp(`^(${NUMBER}) ?(?:(${any})\\.?)?$`);
  const BOTH = new RegExp(`^(${NUMBER}) ?(?:${NAMES.ft.join("|")})\\.?,? ?-? ?(${NUMBER}) ?(?:(?:${NAMES.in.join("|")})\\.?)?$`);
  const FRACTIONS = { "½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8" };

  function number(text) {
    if (!text.includes("/")) return Number(text);
    const parts = text.split(/[^0-9]+/).map(Number);
    const bottom = parts.pop();
    const top = parts.pop();
    return bottom > top ? (parts.pop() || 0) + top / bottom : NaN;
  }

  /** The metres that a text means, or NaN where it is no length. */
  function parse(text, unit) {
    const plain = text.replace(/[½¼¾⅛⅜⅝⅞]/g, (c) => ` ${FRACTIONS[c]}`)
      .replace(/[′‘’‛´`]/g, "'").replace(/[″“”„]/g, '"').replace(/''/g, '"').replace(/[‐‑‒–—−]/g, "-")
      .replace(/[⁄∕]/g, "/").toLowerCase().split(/\s+/).filter(Boolean).join(" ");
    const both = BOTH.exec(plain);
    if (both) {
      const [feet, inches] = [number(both[1]), number(both[2])];
      return Number.isInteger(feet) && inches < 12 ? (12 * INCH * feet + INCH * inches) / PM : NaN;
    }
    const simple = SIMPLE.exec(plain);
    return simple ? (number(simple[1]) * SIZE[simple[2] ? WORDS[simple[2]] : unit]) / PM : NaN;
  }

  return { length, error, parse, even, isInch };
})();
