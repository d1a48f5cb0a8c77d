package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"github.com/skip2/go-qrcode"
	"github.com/spf13/cobra"

	"sweepd/console"
	"sweepd/report/table"
	"sweepd/report/text"
	"sweepd/run"
)

func (a *app) consoleCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:     "console",
		Short:   "Say which phones may open the page of this device, and which programs may ask it",
		Example: `  sweepd console pair --name "my phone"`,
	}
	cmd.AddCommand(a.consolePairCommand(), a.consoleListCommand(), a.consoleRevokeCommand(), a.consoleOpenAPICommand())
	return cmd
}

func (a *app) consolePairCommand() *cobra.Command {
	var name, program string
	cmd := &cobra.Command{
		Use:   "pair",
		Short: "Let a phone open the page of this device, or a program ask its API",
		Long: `Let a phone open the page of this device: it shows an address and a QR code, which
hold for 2 minutes and for one phone, and waits until the phone has come. A phone that
was paired may start and stop runs, and correct them, until it is revoked. For other
machines to reach the page, the agent has to answer on an address of theirs (--listen
0.0.0.0:9745, say), best with --tls-self: else whoever listens in the network can read
along, and take what the phone may for themselves. A program on another machine has
nobody who types a code: --program prints a token for it, once. It sends the token as
"Authorization: Bearer TOKEN"; sweepd itself takes it from SWEEPD_TOKEN, with
SWEEPD_AGENT.`,
		Example: `  sweepd console pair --name "my phone"
  sweepd console pair --program scraper`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			client, err := a.ownerClient(cmd.Context())
			if err != nil {
				return err
			}
			if cmd.Flags().Changed("program") {
				x, err := client.PairProgram(cmd.Context(), program)
				if err != nil {
					return a.explainRefusal(*a.found, err)
				}
				return a.showProgram(x)
			}
			x, err := client.OfferPairing(cmd.Context(), name)
			if err != nil {
				return a.explainRefusal(*a.found, err)
			}
			if a.json {
				return a.printJSON(x)
			}
			if err := a.showPairing(x); err != nil {
				return err
			}
			return a.awaitPhone(cmd.Context(), client, x)
		},
	}
	cmd.Flags().StringVar(&program, "program", "", "`TEXT` that names a program on another machine: print a token for it, instead of a code for a phone")
	cmd.Flags().StringVar(&name, "name", "", "`TEXT` that names the phone (default \"phone 1\" and so on)")
	cmd.MarkFlagsMutuallyExclusive("name", "program")
	return cmd
}

// showProgram shows the token of a program, and how it is used.
func (a *app) showProgram(x console.PairedProgram) error {
	if a.json {
		return a.printJSON(x)
	}
	p := a.printer()
	if !x.Reachable {
		p.Say("The agent answers on this device only: a program elsewhere cannot reach it. Start it with --listen 0.0.0.0:9745 --tls-self (or listen: and tls_self: in the configuration).", "  ", toneDoubt)
	}
	p.Line("token %s", x.Token)
	p.Say(fmt.Sprintf("It is shown this once. With it %q may do through the agent what you may, until `sweepd console revoke %s`.", run.Visible(x.Name), run.Visible(strconv.Quote(x.Name))), "  ", text.Plain)
	p.Say("A program sends it as the header \"Authorization: Bearer TOKEN\" to "+x.Addresses[0]+"/api/v1; sweepd on another machine takes it from SWEEPD_TOKEN, with SWEEPD_AGENT="+x.Addresses[0]+".", "  ", text.Plain)
	a.sayHowSafe(p, x.Reach, "A program has to trust this device's certificate (console.cert.pem in the folder of its data). Its SHA-256 fingerprint is:")
	return p.Err
}

// sayHowSafe says what keeps others from reading along.
func (a *app) sayHowSafe(p *printer, at console.Reach, about string) {
	switch half := len(at.Fingerprint)/2 + 1; {
	case at.Fingerprint != "":
		p.Say(about, "  ", text.Plain)
		p.Line("  %s", at.Fingerprint[:half])
		p.Line("  %s", at.Fingerprint[half:])
	case at.Reachable && !at.TLS:
		p.Say("The connection is not encrypted: on a network that others share, start the agent with --tls-self.", "  ", toneDoubt)
	}
}

// ownerClient is the agent that answers, for what only this device may ask.
func (a *app) ownerClient(ctx context.Context) (*console.Client, error) {
	client, err := a.client()
	if err != nil {
		return nil, misused(err)
	}
	status, err := client.Status(ctx)
	if err != nil {
		return nil, err
	}
	client.Holder = status.Holder
	a.found = &respondent{agent: client, status: status, folder: status.Data, from: fromAgent}
	return client, nil
}

// phones are what was paired with the agent that answers, and who asks it.
func (a *app) phones(ctx context.Context) (*console.Client, []console.PairedPhone, error) {
	client, err := a.ownerClient(ctx)
	if err != nil {
		return nil, nil, err
	}
	list, err := client.Phones(ctx)
	return client, list, a.explainRefusal(*a.found, err)
}

// showPairing shows where the page is, and the code.
func (a *app) showPairing(x console.Pairing) error {
	p := a.printer()
	if !x.Reachable {
		p.Say("The agent answers on this device only: a phone cannot reach it. Start it with --listen 0.0.0.0:9745 --tls-self (or listen: and tls_self: in the configuration), then pair again. A browser on this device may be paired now.", "  ", toneDoubt)
		p.Line("")
	}
	at := x.Addresses[0]
	if code, err := qrcode.New(at+"/#pair="+x.Code, qrcode.Low); err == nil && !p.Options.Unlimited { // a pipe has no camera before it
		p.Painted(a.qr(code))
	}
	p.Line("open %s", at)
	p.Line("code %s", x.Code)
	if len(x.Addresses) > 1 {
		p.Say("other addresses of this device: "+strings.Join(x.Addresses[1:], ", "), "  ", text.Plain)
	}
	a.sayHowSafe(p, x.Reach, "The browser will warn, once, that it does not know this device's certificate. Its SHA-256 fingerprint is:")
	p.Say(fmt.Sprintf("It holds until %s, for one phone, which will be called %q. Waiting for it; Ctrl-C ends that.", x.ExpiresAt.Local().Format("15:04:05"), x.Name), "  ", text.Plain)
	return p.Err
}

// qr draws a code: dark on light whatever the colours of the terminal, where it has any.
func (a *app) qr(code *qrcode.QRCode) string {
	if !a.terminal(a.out).Colour {
		return strings.TrimRight(code.ToSmallString(false), "\n")
	}
	var b strings.Builder
	for line := range strings.Lines(strings.TrimRight(code.ToSmallString(true), "\n")) {
		b.WriteString("\x1b[30;107m" + strings.TrimRight(line, "\n") + "\x1b[0m\n")
	}
	return strings.TrimRight(b.String(), "\n")
}

// awaitPhone waits for the phone that uses a code: none had its name when that was made.
func (a *app) awaitPhone(ctx context.Context, client *console.Client, x console.Pairing) error {
	tick := time.NewTicker(time.Second / 2)
	defer tick.Stop()
	for {
		list, err := client.Phones(ctx)
		if err != nil {
			return err
		}
		for _, p := range list {
			if p.Name == x.Name {
				_, err := fmt.Fprintf(a.out, "%q is paired\n", run.Visible(p.Name))
				return err
			}
		}
		if time.Now().After(x.ExpiresAt.Time) {
			return errors.New("no phone came in 2 minutes: the code holds no more; pair again")
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

func (a *app) consoleListCommand() *cobra.Command {
	return &cobra.Command{
		Use: "list", Short: "List the phones and programs that were paired", Example: "  sweepd console list", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			_, list, err := a.phones(cmd.Context())
			if err != nil {
				return err
			}
			if a.json {
				return a.printJSON(list)
			}
			p := a.printer()
			if len(list) == 0 {
				p.Say("no phone is paired: sweepd console pair", "  ", text.Plain)
			}
			t := table.Table{Columns: []table.Column{{Head: "name", Least: 8}, {Head: "what"}, {Head: "paired"}, {Head: "seen last"}}}
			now := time.Now()
			for _, x := range list {
				what := "phone"
				if x.Program {
					what = "program"
				}
				t.Row(table.Text(x.Name), table.Text(what), table.Text(x.PairedAt.Short(now, time.Local)), table.Text(x.SeenAt.Short(now, time.Local)))
			}
			p.Table(&t)
			return p.Err
		},
	}
}

// paired offers the names of the phones and programs that the agent lets in.
func (a *app) paired(cmd *cobra.Command, _ []string, _ string) ([]string, cobra.ShellCompDirective) {
	_, list, _ := a.phones(cmd.Context()) // none where it does not answer
	var names []string
	for _, x := range list {
		names = append(names, x.Name)
	}
	return names, cobra.ShellCompDirectiveNoFileComp
}

func (a *app) consoleRevokeCommand() *cobra.Command {
	return &cobra.Command{
		Use: "revoke PAIRED", Short: "Take a phone or program what pairing gave it, at once", Example: `  sweepd console revoke "my phone"`, Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			client, list, err := a.phones(cmd.Context())
			if err != nil {
				return err
			}
			var names []string
			for _, p := range list {
				if p.Name == args[0] || p.ID == args[0] {
					if p, err = client.Revoke(cmd.Context(), p.ID); err != nil {
						return err
					}
					if a.json {
						return a.printJSON(p)
					}
					_, err = fmt.Fprintf(a.out, "%q may ask this device no more\n", run.Visible(p.Name))
					return err
				}
				names = append(names, p.Name)
			}
			err = fmt.Errorf("no phone or program named %q is paired", run.Shorten(args[0]))
			if near := run.Near(args[0], names); near != "" {
				return fmt.Errorf("%w: did you mean %q?", err, near)
			}
			return fmt.Errorf("%w: %s", err, cmp.Or(strings.Join(names, ", "), "none is"))
		},
	}
}

func (a *app) consoleOpenAPICommand() *cobra.Command {
	return &cobra.Command{
		Use: "openapi", Short: "Print the description of the HTTP API (OpenAPI 3.1)", Example: "  sweepd console openapi > sweepd.json", Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			description, err := console.OpenAPI()
			if err != nil {
				return err
			}
			_, err = io.WriteString(a.out, string(description)+"\n")
			return err
		},
	}
}
