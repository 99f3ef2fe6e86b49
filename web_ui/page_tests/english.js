import { speak } from "../static/page/words.js";
import { catalogue } from "./catalogue.js";

speak("en", catalogue("en"));
