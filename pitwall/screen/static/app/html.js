/** What every part of the page is built with: htm for the markup, Preact behind it. Text is always inserted as text. */
export { html, render, useEffect, useLayoutEffect, useRef, useState, useMemo } from "../vendor/preact-htm.js";
