/** Loaded before a worker of a canary: some text of built files is read otherwise in that process, and nowhere else. */
import { register } from 'node:module'

register('./rewrite-hooks.js', import.meta.url, { data: JSON.parse(process.env['NIGHTS_REWRITE']!) as object })
