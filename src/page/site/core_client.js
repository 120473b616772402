// The page's end of the worker: questions in, promises out. One question is worked on at a time; cancelling ends the
// worker and starts another.

export class CoreClient {
  #worker = null;
  #open = new Map();
  #next = 1;

  /** Starts loading; nothing waits for it. */
  start() {
    if (this.#worker) return;
    this.#worker = new Worker('worker.js');
    this.#worker.onmessage = ({data}) => this.#take(data);
    this.#worker.onerror = (event) => {
      event.preventDefault();
      this.#end('The measuring core could not be loaded or has stopped. Load the page again.', 'fault');
    };
  }

  /** The answer to {do: ..., ...}; `onStage` hears what is being done. Rejects with an Error that has a `kind`. */
  ask(question, onStage = () => {}) {
    this.start();
    const id = this.#next++;
    return new Promise((resolve, reject) => {
      this.#open.set(id, {resolve, reject, onStage});
      this.#worker.postMessage({...question, id});
    });
  }

  /** Measures the sample once, so that the browser has compiled everything before it matters. */
  async warmUp() {
    const answer = await fetch('sample.jpg');
    if (!answer.ok) return;
    const file = new File([await answer.blob()], 'sample.jpg', {type: 'image/jpeg'});
    const files = {'workshop.json': '{"schema": 1, "board_pitch_mm": 14, "bar_length_mm": 98.4}', 'facts.json': '{"schema": 1}'};
    await this.ask({do: 'measure', files, sha256: '', photo: {file, name: file.name}});
  }

  get busy() {
    return this.#open.size > 0;
  }

  cancel() {
    this.#end('cancelled', 'cancelled');
    this.start();
  }

  #take({id, stage, answer, error}) {
    const question = this.#open.get(id);
    if (!question) return;
    if (stage) return question.onStage(stage);
    this.#open.delete(id);
    if (error) question.reject(Object.assign(new Error(error.message), {kind: error.kind}));
    else question.resolve(answer);
  }

  #end(message, kind) {
    this.#worker?.terminate();
    this.#worker = null;
    for (const {reject} of this.#open.values()) reject(Object.assign(new Error(message), {kind}));
    this.#open.clear();
  }
}
