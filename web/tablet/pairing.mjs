/** The screen on which an adult types a pairing code. */

const CODE_LENGTH = 8;

function faultOf({ status, title }) {
  if (status === null) {
    return "The server does not answer. Check that this tablet is on the right network, then try again.";
  }
  if (status === 429) return "Too many tries. Wait a minute, then type the code again.";
  if (status >= 500) return `The server could not pair this tablet. ${title}`.trim();
  return "That code is not known, or it was used, or it is older than ten minutes. Make a new one on the desk page.";
}

export class Pairing {
  /**
   * @param {(id: string) => HTMLElement} find
   * @param {object} options
   * @param {import("./tablet.mjs").Tablet} options.tablet
   * @param {() => void} options.paired
   * @param {() => void} options.back
   */
  constructor(find, { tablet, paired, back }) {
    Object.assign(this, { tablet, paired });
    this.code = find("pair-code");
    this.fault = find("pair-fault");
    this.back = find("pair-back");
    find("pair-form").addEventListener("submit", (event) => this.#pair(event));
    this.back.addEventListener("click", back);
  }

  /** @param {{fault: string, code: string, back: boolean}} what  to show */
  open({ fault, code, back }) {
    this.fault.textContent = fault;
    this.back.hidden = !back;
    this.code.value = code;
    this.code.focus();
  }

  /** A pairing code that came behind the "#" of a scanned link, which no server sees. */
  scannedCode() {
    const code = /(?:^#|=)([2-9A-Z]{8})$/i.exec(location.hash)?.[1] ?? "";
    if (code) history.replaceState(null, "", location.pathname);
    return code;
  }

  async #pair(event) {
    event.preventDefault();
    const code = this.code.value.replace(/[\s-]/g, "").toUpperCase();
    if (code.length !== CODE_LENGTH) {
      this.fault.textContent =
        `A pairing code has ${CODE_LENGTH} characters; this one has ${code.length}.`;
      return;
    }
    const answer = await this.tablet.pair(code);
    if (answer.status === null || answer.status >= 400) {
      this.fault.textContent = faultOf(answer);
      this.code.select();
      return;
    }
    await this.paired();
  }
}
