// The pad on which a reading is typed: digits, sign, unit, OL. It works with a keyboard too.
export class Pad {
  constructor(dialog, onEnter, onPhoto) {
    this.dialog = dialog;
    this.onEnter = onEnter;
    this.title = dialog.querySelector("#pad-title");
    this.output = dialog.querySelector("#pad-shown");
    this.error = dialog.querySelector("#pad-error");
    this.units = dialog.querySelector("#pad-units");
    this.what = dialog.querySelector("#pad-what");
    this.quantity = dialog.querySelector("#pad-quantity");
    this.note = dialog.querySelector("#pad-note");
    this.photos = dialog.querySelector("#pad-photos");
    const photo = dialog.querySelector("#pad-photo");
    photo.addEventListener("change", async () => {
      const [file] = photo.files;
      if (!file) return;
      await onPhoto(this.cell, file);
      photo.value = ""; // the same one may be chosen again
    });
    dialog.addEventListener("click", (event) => this.clicked(event));
    dialog.addEventListener("keydown", (event) => this.pressed(event));
    dialog.querySelector("form").addEventListener("submit", (event) => {
      event.preventDefault();
      this.enter();
    });
    this.quantity.addEventListener("change", () => {
      const chosen = this.quantity.selectedOptions[0];
      this.showUnits(chosen.dataset.units.split(" "));
      this.cell = { ...this.cell, quantity: chosen.value, seen: null };
      this.leadToPhotos();
      this.show();
    });
  }

  open(cell) {
    this.cell = cell;
    this.digits = "";
    this.isNegative = false;
    this.isOver = false;
    this.title.textContent = cell.label;
    this.error.hidden = true;
    this.note.textContent = "";
    const isAtPin = [...this.quantity.options].some((option) => option.value === cell.quantity);
    this.what.hidden = !isAtPin;
    if (isAtPin) this.quantity.value = cell.quantity;
    this.showUnits(cell.units);
    this.leadToPhotos();
    this.show();
    if (!this.dialog.open) this.dialog.showModal();
    this.dialog.querySelector(".pad-enter").focus();
  }

  close() {
    if (this.dialog.open) this.dialog.close();
  }

  leadToPhotos() {
    const { round, quantity, place } = this.cell;
    this.photos.href = `/rounds/${round}/entry?${new URLSearchParams({ quantity, place })}#photo`;
  }

  showUnits(units) {
    this.unit = units[0];
    this.units.replaceChildren(
      ...units.map((unit) => {
        const button = document.createElement("button");
        button.type = "button";
        button.textContent = unit;
        button.dataset.unit = unit;
        button.setAttribute("role", "radio");
        return button;
      }),
    );
    this.markUnit();
  }

  markUnit() {
    for (const button of this.units.children) {
      button.setAttribute("aria-checked", String(button.dataset.unit === this.unit));
    }
  }

  clicked(event) {
    const button = event.target.closest("button");
    if (!button) return;
    if (button.dataset.sign) this.sign(button.dataset.sign);
    else if (button.dataset.unit) {
      this.unit = button.dataset.unit;
      this.markUnit();
      this.show();
    } else if (button.dataset.pad === "close") this.close();
    else if (button.dataset.pad === "take-back") this.onEnter(this.cell, null);
  }

  pressed(event) {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target === this.quantity || event.target.type === "file") return;
    if (/^[0-9]$/.test(event.key)) this.sign(event.key);
    else if (event.key === "." || event.key === ",") this.sign(".");
    else if (event.key === "-") this.sign("±");
    else if (event.key === "Backspace") this.sign("back");
    else if (event.key.toLowerCase() === "o") this.sign("OL");
    else if (event.key.toLowerCase() === "m" && this.units.children.length > 1) {
      this.unit = [...this.units.children].map((each) => each.dataset.unit).find((unit) => unit.startsWith("m") || unit.startsWith("k")) ?? this.unit;
      this.markUnit();
      this.show();
    } else return;
    event.preventDefault();
  }

  sign(sign) {
    this.error.hidden = true;
    if (sign === "OL") {
      this.isOver = !this.isOver;
      this.digits = "";
    } else if (sign === "±") this.isNegative = !this.isNegative;
    else if (sign === "back") {
      this.isOver = false;
      this.digits = this.digits.slice(0, -1);
    } else if (sign !== "." || !this.digits.includes(".")) {
      this.isOver = false;
      if (this.digits.length < 9) this.digits += sign;
    }
    this.show();
  }

  written() {
    if (this.isOver) return "OL";
    if (!/[0-9]/.test(this.digits)) return "";
    const digits = this.digits.startsWith(".") ? `0${this.digits}` : this.digits;
    return `${this.isNegative ? "-" : ""}${digits.replace(/\.$/, "")} ${this.unit}`;
  }

  show() {
    const digits = this.isOver ? "OL" : `${this.isNegative ? "−" : ""}${this.digits || "–"}`;
    this.output.textContent = this.isOver ? digits : `${digits} ${this.unit}`;
  }

  enter() {
    const written = this.written();
    if (!written) return this.fail("Type what the meter shows, or OL.");
    return this.onEnter(this.cell, written);
  }

  tell(text) {
    this.note.textContent = text;
  }

  fail(text) {
    this.error.textContent = text;
    this.error.hidden = false;
  }
}
