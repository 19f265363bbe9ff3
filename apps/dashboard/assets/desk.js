// Talks with the server about changes: while an answer is on its way changes wait, and of several
// to one place only the latest, so a drag never queues up. Tells 'told' after each answer.

import { notify, setState, waiting } from "./shell.js";

export class Desk extends EventTarget {
  constructor(board) {
    super();
    this.board = board;
    this.queue = [];
    this.sent = [];
    this.asked = 0;
    this.drag = 0; // changes of one drag are one thing to undo
    board.properties.told.change.connect(() => this.answered());
  }

  get told() {
    return this.board.told;
  }

  get values() {
    return this.board.told.values;
  }

  ask(change) {
    const last = this.queue.at(-1);
    if (change.do === "set" && last?.do === "set" && last.path === change.path) this.queue.pop();
    this.queue.push(change);
    if (!this.sent.length) this.flush();
  }

  set(path, value) {
    this.ask({ do: "set", path, value, drag: this.drag });
  }

  // The slider was let go: what follows is another change.
  settle() {
    this.drag += 1;
  }

  // A change to this place has not been answered yet.
  pending(path) {
    return [...this.sent, ...this.queue].some((change) => change.path === path);
  }

  flush() {
    waiting(true);
    this.asked += 1;
    this.sent = this.queue;
    this.queue = [];
    this.board.asked = { changes: this.sent, number: this.asked };
  }

  answered() {
    this.sent = [];
    if (this.queue.length) this.flush();
    else waiting(false);
    notify(this.told.error, "error");
    setState(this.told.state, this.told.own);
    this.dispatchEvent(new Event("told"));
  }
}
