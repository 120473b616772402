// When a reading was made, by the phone's own clock; it is kept in universal time.

const two = (number) => String(number).padStart(2, '0');

/** "2026-03-07" */
export function dayOf(created) {
  const date = new Date(created);
  return `${date.getFullYear()}-${two(date.getMonth() + 1)}-${two(date.getDate())}`;
}

/** "09:05" */
export function timeOf(created) {
  const date = new Date(created);
  return `${two(date.getHours())}:${two(date.getMinutes())}`;
}
