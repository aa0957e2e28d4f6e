//! Shell completions and the manual page, both made from the commands themselves so that they cannot lag behind.

use clap::{Args, CommandFactory};

use super::{Cli, Stop, exit, output};
use crate::report::words;

#[derive(Debug, Args)]
pub struct Shell {
    pub shell: clap_complete::Shell,
}

/// Prints completions.
pub fn completions(shell: &Shell) -> Result<u8, Stop> {
    let mut text = Vec::new();
    clap_complete::generate(shell.shell, &mut Cli::command(), "cowlwatch", &mut text);
    output::print(&String::from_utf8_lossy(&text))?;
    Ok(0)
}

/// Prints the manual page: the program, then every command with its options.
pub fn page() -> Result<u8, Stop> {
    let mut command = Cli::command();
    command.build();
    let text = render(&command).map_err(|e| Stop::new(exit::CANNOT_WRITE, e.to_string()))?;
    output::print(&String::from_utf8_lossy(&text))?;
    Ok(0)
}

fn render(command: &clap::Command) -> std::io::Result<Vec<u8>> {
    let mut text = Vec::new();
    let man = clap_mangen::Man::new(command.clone());
    man.render_title(&mut text)?;
    man.render_name_section(&mut text)?;
    man.render_synopsis_section(&mut text)?;
    man.render_description_section(&mut text)?;
    man.render_options_section(&mut text)?;
    text.extend_from_slice(b".SH COMMANDS\n");
    for sub in command.get_subcommands().filter(|sub| !sub.is_hide_set() && sub.get_name() != "help") {
        text.extend_from_slice(format!(".SS {}\n", roff(sub.get_name())).as_bytes());
        let about = sub.get_about().map(ToString::to_string).unwrap_or_default();
        text.extend_from_slice(format!("{}\n", roff(&about)).as_bytes());
        for argument in sub.get_arguments().filter(|a| !a.is_hide_set() && !a.is_global_set() && a.get_id() != "help") {
            let help = argument.get_help().map(ToString::to_string).unwrap_or_default();
            let shown = roff(&argument.to_string());
            text.extend_from_slice(format!(".TP\n\\fB{shown}\\fR\n{}\n", roff(&help)).as_bytes());
        }
        if let Some(examples) = sub.get_after_help() {
            let lines: Vec<String> = examples.to_string().lines().map(roff).collect();
            text.extend_from_slice(format!(".PP\n.nf\n{}\n.fi\n", lines.join("\n")).as_bytes());
        }
    }
    text.extend_from_slice(EXIT_AND_FILES.as_bytes());
    text.extend_from_slice(format!(".SH CAUTION\n{}\n", roff(words::CAUTION)).as_bytes());
    man.render_version_section(&mut text)?;
    Ok(text)
}

/// Text that roff takes as it is: backslashes, hyphens and leading dots are its own signs.
fn roff(text: &str) -> String {
    let escaped = text.replace('\\', "\\e").replace('-', "\\-").replace('\n', " ");
    if escaped.starts_with(['.', '\'']) { format!("\\&{escaped}") } else { escaped }
}

const EXIT_AND_FILES: &str = ".SH EXIT STATUS
.TP
0
done
.TP
1
an alert at or above \\-\\-fail\\-on is open
.TP
64
wrong use
.TP
65
bad data (check)
.TP
73, 74
cannot write, cannot read
.TP
75
another one runs on this state; try later
.TP
78
the configuration cannot be used
.SH FILES
.TP
/etc/cowlwatch/cowlwatch.toml
the configuration; every setting is explained in the sample that comes with the program
.TP
/var/lib/cowlwatch
the state, unless the configuration names another folder
";
