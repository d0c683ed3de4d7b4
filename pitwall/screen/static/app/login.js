/** Name and token, where the broker asks for them. Kept for this tab only. */
import { html } from "./html.js";

/** @param {{desk: import("./desk.js").Desk}} props */
export function LogIn({ desk }) {
  /** @param {any} event */
  const send = (event) => {
    event.preventDefault();
    desk.logIn(event.target.name.value.trim(), event.target.token.value.trim());
  };
  return html`<main id="main" class="login"><form onSubmit=${send}>
    <h1>pitwall</h1>
    <p role="alert">${desk.linkWhy}. <span>pitwall users add NAME --role desk</span> makes one.</p>
    <label>name <input name="name" autocomplete="username" required /></label>
    <label>token <input name="token" type="password" autocomplete="current-password" required /></label>
    <button>come in</button>
  </form></main>`;
}
