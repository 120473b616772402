// What stays the same from photo to photo: the workshop profile and the files that it names, as the program reads them,
// and what this page alone knows: the panel at hand, units of show.
import {readSetting, writeSetting} from './store.js';

const emptyProfile = {
  schema: 1,
  board_pitch_mm: null,
  board_distance_mm: null,
  bar_length_mm: null,
  card_file: null,
  board_file: null,
  camera_file: null,
  kit_file: null,
  coin_country: 'us',
};
const emptyFacts = {material: 'not_sure', paint: 'not_sure', coating: 'not_sure', place: 'not_sure', access: 'not_sure', air_c: null};
const linked = ['card_file', 'board_file', 'camera_file', 'kit_file'];
const ownFiles = new Set(['card-corner.json', 'board-a3-16mm.json', 'kit-sample.json']); // they come with the core

export class Workshop {
  profile = {...emptyProfile};
  files = {}; // name -> text of what the profile names
  facts = {...emptyFacts};
  show = {length: 'mm', temperature: 'C'};
  current = {vehicle: '', panel: 'bonnet'};

  async load() {
    const [kept, facts, show, current] = await Promise.all(
      ['workshop', 'facts', 'show', 'current'].map((key) => readSetting(key)),
    );
    if (kept) Object.assign(this, {profile: {...emptyProfile, ...kept.profile}, files: kept.files});
    Object.assign(this.facts, facts);
    Object.assign(this.show, show);
    Object.assign(this.current, current);
  }

  get hasBoard() {
    return this.profile.board_pitch_mm !== null || this.profile.board_file !== null;
  }

  /** As the core wants them: every file by its name. */
  coreFiles(profile = this.profile, files = this.files) {
    return {...files, 'workshop.json': JSON.stringify(profile, null, 2), 'facts.json': JSON.stringify({schema: 1, ...this.facts})};
  }

  /** Changes profile and files once the core has read them without a fault; throws what is wrong, and then nothing has
   *  changed. */
  async change(core, changes, files = {}) {
    const profile = {...this.profile, ...changes};
    const all = {...this.files, ...files};
    const named = new Set(linked.map((key) => profile[key]).filter(Boolean));
    const kept = Object.fromEntries(Object.entries(all).filter(([name]) => named.has(name)));
    const answer = await core.ask({do: 'settings', files: this.coreFiles(profile, kept)});
    await writeSetting('workshop', {profile, files: kept});
    Object.assign(this, {profile, files: kept});
    return answer;
  }

  async set(key, changes) {
    const value = {...this[key], ...changes};
    await writeSetting(key, value);
    this[key] = value;
  }

  /** The files of an export, the profile first. */
  exported() {
    return [{name: 'workshop.json', text: JSON.stringify(this.profile, null, 2) + '\n'}, ...Object.entries(this.files).map(([name, text]) => ({name, text}))];
  }

  /** Files of which one is a workshop profile and the others are what it names. */
  async import(core, files) {
    const texts = {};
    for (const file of files) texts[file.name] = await textOf(file);
    const profiles = Object.entries(texts).filter(([, text]) => isProfile(text));
    if (profiles.length !== 1) throw new Error(`Among ${files.length === 1 ? 'the file' : 'these files'} there ${profiles.length ? 'are several workshop profiles' : 'is no workshop profile'}: choose workshop.json and the files that it names.`);
    const [[name, text]] = profiles;
    delete texts[name];
    const profile = {...emptyProfile, ...JSON.parse(text)};
    for (const key of linked) {
      if (typeof profile[key] !== 'string') continue;
      profile[key] = profile[key].split('/').pop(); // folders of the computer mean nothing here
      if (!texts[profile[key]] && !ownFiles.has(profile[key]))
        throw new Error(`The profile names ${profile[key]}, which is not among the chosen files: choose it as well.`);
    }
    await this.change(core, profile, texts);
  }
}

const largestFile = 8 << 20;

export async function textOf(file) {
  if (file.size > largestFile) throw new Error(`${file.name} has ${Math.round(file.size / 1e6)} MB; this cannot be the right file.`);
  return file.text();
}

function isProfile(text) {
  try {
    const value = JSON.parse(text);
    return value !== null && typeof value === 'object' && !Array.isArray(value) && ('bar_length_mm' in value || 'board_pitch_mm' in value || 'coin_country' in value);
  } catch {
    return false;
  }
}

/** A board file as its printer made it: all lengths by what its own bar measures. */
export function scaledBoard(board, barMm) {
  const by = barMm / 100;
  const scaled = (value) => Number((value * by).toFixed(4));
  return {
    ...board,
    pitch_mm: scaled(board.pitch_mm),
    tags: board.tags?.map((tag) => ({...tag, x_mm: scaled(tag.x_mm), y_mm: scaled(tag.y_mm), side_mm: scaled(tag.side_mm)})),
  };
}
