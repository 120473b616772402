// Elements without HTML text: whatever a file or a photo's name holds stays text.

/** element('p.note', {id: 'x', onclick: f}, 'text', otherElement, null, [more]) */
export function element(kind, ...rest) {
  const [tag, ...classes] = kind.split('.');
  const made = document.createElement(tag);
  if (classes.length) made.className = classes.join(' ');
  const first = rest[0];
  if (first && typeof first === 'object' && !(first instanceof Node) && !Array.isArray(first)) {
    rest.shift();
    for (const [name, value] of Object.entries(first)) set(made, name, value);
  }
  made.append(...rest.flat(2).filter((child) => child !== null && child !== undefined && child !== ''));
  return made;
}

function set(made, name, value) {
  if (value === undefined || value === null || value === false) return;
  if (name.startsWith('on')) made.addEventListener(name.slice(2), value);
  else if (name === 'value' || name === 'checked' || name === 'textContent') made[name] = value;
  else made.setAttribute(name, value === true ? '' : value);
}

/** A button or link that looks like one; `kind` may be 'main'. */
export const button = (text, onclick, kind = 'plain') => element(`button.${kind}`, {type: 'button', onclick}, text);

/** A file input behind a large label. No `capture`: with it some phones drop what the camera writes into the photo. */
export function fileButton(text, {accept, multiple = false, kind = 'plain', onfiles}) {
  const input = element('input', {
    type: 'file',
    accept,
    multiple,
    onchange: () => {
      const files = [...input.files];
      input.value = '';
      if (files.length) onfiles(files);
    },
  });
  return element(`label.file.${kind}`, text, input);
}

export function select(label, choices, value, onchange) {
  const list = element(
    'select',
    {onchange: () => onchange(list.value)},
    choices.map(([word, text]) => element('option', {value: word}, text)),
  );
  list.value = value;
  return element('label.field', element('span', label), list);
}

/** Offers a text or blob as a file. */
export function download(name, content, type = 'application/json') {
  const url = URL.createObjectURL(content instanceof Blob ? content : new Blob([content], {type}));
  const link = element('a', {href: url, download: name});
  link.click();
  setTimeout(() => URL.revokeObjectURL(url), 60000);
}
