/* A worker for pages that are read from files: browsers start none there, so the search's script
   runs in a hidden frame that speaks like one. Elsewhere nothing is changed. */
if (location.protocol === "file:") {
  window.Worker = class extends EventTarget {
    constructor(url) {
      super();
      const frame = document.createElement("iframe");
      frame.hidden = true;
      frame.title = "search";
      document.body.append(frame);
      this.inside = frame.contentWindow;
      const page = this.inside.document;
      page.open();
      page.write("<!doctype html><title>search</title><body></body>");
      page.close();
      this.onmessage = this.onerror = null;
      // What the script posts comes to whoever holds the worker; what comes to it, it hears itself.
      this.inside.postMessage = (data) => this._tell("message", data);
      this.inside.importScripts = (...names) =>
        names.reduce((before, name) => before.then(() => this._load(name, url)), Promise.resolve());
      this.ready = this._load(url, location.href);
    }

    _load(name, base) {
      return new Promise((done, failed) => {
        const script = this.inside.document.createElement("script");
        script.src = new URL(name, new URL(base, location.href));
        script.onload = done;
        script.onerror = () => failed(new Error(`not loaded: ${script.src}`));
        this.inside.document.body.append(script);
      });
    }

    _tell(kind, data) {
      const event = new MessageEvent(kind, { data });
      this.dispatchEvent(event);
      if (this[`on${kind}`]) this[`on${kind}`](event);
    }

    postMessage(data) {
      this.ready.then(() =>
        this.inside.dispatchEvent(new this.inside.MessageEvent("message", { data }))
      );
    }

    terminate() {
      this.inside.frameElement.remove();
    }
  };
}
