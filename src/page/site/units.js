// How numbers are shown. All of them come in millimetres and degrees Celsius.

const mmPerInch = 25.4;

/** As many decimals as the interval deserves. */
function decimalsFor(halfWidth, most) {
  return halfWidth >= 9.5 ? 0 : halfWidth >= 0.95 ? Math.min(1, most) : halfWidth >= 0.095 ? 1 : halfWidth >= 0.0095 ? 2 : halfWidth >= 0.00095 ? 3 : most;
}

/** {value: '17.2 mm', range: '17.1 to 17.3'} of {value, low, high} in mm. */
export function lengthWords(quantity, show) {
  const inch = show.length === 'inch';
  const by = inch ? 1 / mmPerInch : 1;
  const [value, low, high] = [quantity.value, quantity.low, quantity.high].map((mm) => mm * by);
  const decimals = decimalsFor((high - low) / 2, inch ? 4 : 3);
  const text = (number) => number.toFixed(decimals);
  return {value: `${text(value)} ${inch ? 'in' : 'mm'}`, range: `${text(low)} to ${text(high)}`};
}

const number = String.raw`[-+\u2212]?\d+(?:\.\d+)?`;
const joint = String.raw`(?: to |\u2013| and | × )`;
const temperature = new RegExp(`(${number})(?:(${joint})(${number}))? °C`, 'g');
const millimetres = new RegExp(`(${number})(?:(${joint})(${number}))? mm\\b(?! in a metre)`, 'g');

const read = (text) => Number(text.replace('\u2212', '-'));
const fahrenheit = (text) => String(Math.round(read(text) * 1.8 + 32));
function inches(text) {
  const mm = Math.abs(read(text));
  return (read(text) / mmPerInch).toFixed(mm < 1 ? 4 : mm < 10 ? 3 : 2);
}

/** The core's sentences in what the user reads. Inches stand beside the millimetres: a sentence may go on with numbers
 *  that have no unit of their own. */
export function inUnits(text, show) {
  if (show.temperature === 'F')
    text = text.replace(temperature, (_, a, between, b) => fahrenheit(a) + (b ? between + fahrenheit(b) : '') + ' °F');
  if (show.length === 'inch')
    text = text.replace(millimetres, (mm, a, between, b) => `${mm} [${inches(a)}${b ? between + inches(b) : ''} in]`);
  return text;
}
