// Several pictures at once: each file its own row, its own progress and its own error.
// Without this module the form posts its file field as any form does.
//
// <form data-upload data-field="picture" method="post" enctype="multipart/form-data" action="...">
//   <div class="drop"> ... <input type="file" name="picture" multiple accept=".jpg,.jpeg,.png,.tif,.tiff"> </div>
//   <ul class="uploads" aria-live="polite"></ul>
// Each file is posted alone with the form's other fields; the answer is JSON {ok, error, url}.

const AT_ONCE = 2;

class Uploads {
  constructor(form) {
    this.form = form;
    this.input = form.querySelector('input[type="file"]');
    this.list = form.querySelector(".uploads");
    this.waiting = [];
    this.running = 0;
    this.input.addEventListener("change", () => this.add(this.input.files));
    form.addEventListener("submit", (event) => this.submitted(event));
    this.acceptDrops(form.querySelector(".drop") ?? form);
  }

  acceptDrops(place) {
    for (const name of ["dragenter", "dragover"])
      place.addEventListener(name, (event) => {
        event.preventDefault();
        place.classList.add("over");
      });
    place.addEventListener("dragleave", () => place.classList.remove("over"));
    place.addEventListener("drop", (event) => {
      event.preventDefault();
      place.classList.remove("over");
      this.add(event.dataTransfer.files);
    });
  }

  add(files) {
    for (const file of files) this.waiting.push({ file, row: this.row(file) });
    // The field is emptied, or a later plain post would send the same files again.
    this.input.value = "";
    this.input.required = false;
    if (!this.form.querySelector("[type=submit]")) this.start();
  }

  submitted(event) {
    if (!this.waiting.length && !this.running) return;
    event.preventDefault();
    if (this.form.reportValidity()) this.start();
  }

  start() {
    while (this.running < AT_ONCE && this.waiting.length) this.send(this.waiting.shift());
  }

  row(file) {
    const row = document.createElement("li");
    row.className = "upload";
    const name = document.createElement("span");
    name.textContent = `${file.name}, ${this.size(file.size)}`;
    const bar = document.createElement("progress");
    bar.max = 1;
    bar.value = 0;
    bar.setAttribute("aria-label", interpolate(gettext("Progress of %(name)s"), { name: file.name }, true));
    const state = document.createElement("span");
    state.className = "upload-state soft";
    state.textContent = gettext("waits");
    row.append(name, bar, state);
    this.list.append(row);
    return row;
  }

  size(bytes) {
    return bytes < 1e6 ? `${Math.ceil(bytes / 1e3)} kB` : `${(bytes / 1e6).toFixed(1)} MB`;
  }

  send({ file, row }) {
    this.running += 1;
    const data = new FormData(this.form);
    data.set(this.form.dataset.field ?? this.input.name, file, file.name);
    const request = new XMLHttpRequest();
    request.open("POST", this.form.action);
    request.setRequestHeader("Accept", "application/json");
    request.setRequestHeader("X-Requested-With", "XMLHttpRequest");
    request.upload.addEventListener("progress", (event) => {
      if (event.lengthComputable) this.progress(row, event.loaded / event.total);
    });
    request.addEventListener("loadend", () => this.ended({ file, row }, request));
    request.send(data);
  }

  progress(row, part) {
    row.querySelector("progress").value = part;
    row.querySelector(".upload-state").textContent = part < 1 ? `${Math.round(part * 100)} %` : gettext("being checked");
  }

  ended(item, request) {
    this.running -= 1;
    const answer = this.answer(request);
    if (answer.ok) this.succeeded(item.row, answer.url);
    else this.failed(item, answer.error);
    this.start();
    if (!this.running && !this.waiting.length)
      this.form.dispatchEvent(new CustomEvent("uploads-ended", { bubbles: true }));
  }

  answer(request) {
    if (request.status === 0) return { ok: false, error: gettext("The connection broke. Nothing was stored.") };
    if (request.status === 413) return { ok: false, error: gettext("The file is larger than the clinic accepts.") };
    try {
      return JSON.parse(request.responseText);
    } catch {
      const said = gettext("The server could not answer (%(status)s). Look at the list before trying again.");
      return { ok: false, error: interpolate(said, { status: request.status }, true) };
    }
  }

  succeeded(row, url) {
    row.querySelector("progress").value = 1;
    const state = row.querySelector(".upload-state");
    state.textContent = gettext("stored");
    if (!url) return;
    const link = document.createElement("a");
    link.href = url;
    link.textContent = gettext("stored: open");
    state.replaceChildren(link);
  }

  failed(item, error) {
    const { row } = item;
    row.querySelector("progress").value = 0;
    const state = row.querySelector(".upload-state");
    state.textContent = gettext("not stored");
    const words = document.createElement("p");
    words.className = "errors";
    words.setAttribute("role", "alert");
    words.textContent = error || gettext("The picture was not stored.");
    const again = document.createElement("button");
    again.type = "button";
    again.textContent = gettext("Try again");
    again.addEventListener("click", () => {
      words.remove();
      state.textContent = gettext("waits");
      this.waiting.push(item);
      this.start();
    });
    state.append(" ", again);
    row.append(words);
  }
}

for (const form of document.querySelectorAll("form[data-upload]")) new Uploads(form);
