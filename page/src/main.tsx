import "@fontsource-variable/atkinson-hyperlegible-next/wght.css";
import "@fontsource-variable/atkinson-hyperlegible-mono/wght.css";
import "./style/page.css";
import { render } from "preact";
import { App } from "./app";
import { start } from "./state";

start();
const root = document.getElementById("page");
if (root) render(<App />, root);
