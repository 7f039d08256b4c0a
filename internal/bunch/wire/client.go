package wire

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"time"

	"chainline/internal/bunch"
)

// MostCourse is the longest course a guest takes, in bytes.
const MostCourse = 20 << 20

// ErrRefused is the host's word that the invitation is not this group's.
var ErrRefused = errors.New("that is not this group's invitation")

// Client is a guest's way to a host: a bunch.Transport.
type Client struct {
	address string
	token   string
	http    *http.Client
}

// Dial makes a client; it does not connect yet.
func Dial(address, invitation string) (*Client, error) {
	k, err := keysOf(invitation)
	if err != nil {
		return nil, err
	}
	if _, _, err := net.SplitHostPort(address); err != nil {
		return nil, fmt.Errorf("address: expected a name or number and a port, like 192.0.2.7:%s", UsualPort)
	}
	return &Client{address: address, token: k.token, http: &http.Client{
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		Transport: &http.Transport{ // several connections: a lost packet holds up one exchange, not all
			TLSClientConfig: k.clientTLS(), TLSHandshakeTimeout: 5 * time.Second, DialContext: (&net.Dialer{Timeout: 5 * time.Second}).DialContext,
			MaxIdleConnsPerHost: 8, MaxConnsPerHost: 12, IdleConnTimeout: 30 * time.Second, ResponseHeaderTimeout: 10 * time.Second,
			MaxResponseHeaderBytes: 16 << 10, DisableCompression: true}}}, nil
}

// UsualPort is where a group is opened unless its host says otherwise.
const UsualPort = "7743"

// Exchange is one exchange; see bunch.Transport.
func (c *Client) Exchange(ctx context.Context, a bunch.Ask) (bunch.Answer, error) {
	b, err := json.Marshal(a)
	if err != nil {
		return bunch.Answer{}, err
	}
	body, err := c.do(ctx, http.MethodPost, "/exchange", b)
	if err != nil {
		return bunch.Answer{}, err
	}
	defer drained(body)
	return bunch.ReadAnswer(body)
}

// Course fetches the course.
func (c *Client) Course(ctx context.Context) ([]byte, error) {
	body, err := c.do(ctx, http.MethodGet, "/course", nil)
	if err != nil {
		return nil, err
	}
	defer drained(body)
	b, err := io.ReadAll(io.LimitReader(body, MostCourse+1))
	if err == nil && len(b) > MostCourse {
		err = fmt.Errorf("the group's course is longer than %d MB", MostCourse>>20)
	}
	return b, err
}

func (c *Client) do(ctx context.Context, method, path string, body []byte) (io.ReadCloser, error) {
	r, err := http.NewRequestWithContext(ctx, method, "https://"+c.address+path, bytes.NewReader(body))
	if err != nil {
		return nil, err
	}
	r.Header.Set("Authorization", "Bearer "+c.token)
	answer, err := c.http.Do(r)
	if err != nil {
		return nil, err
	}
	if answer.StatusCode == http.StatusOK {
		return answer.Body, nil
	}
	defer drained(answer.Body)
	if answer.StatusCode == http.StatusUnauthorized {
		return nil, ErrRefused
	}
	said, _ := io.ReadAll(io.LimitReader(answer.Body, 500)) // a sentence, or nothing
	if words := bunch.Line(string(said), 200); answer.StatusCode == http.StatusConflict && words != "" {
		return nil, &bunch.Refusal{Words: words}
	}
	return nil, fmt.Errorf("the host answers with status %d", answer.StatusCode)
}

// drained reads what is left of a short answer, so that its connection can be
// used again.
func drained(body io.ReadCloser) {
	_, _ = io.Copy(io.Discard, io.LimitReader(body, 64<<10))
	_ = body.Close()
}

// Close gives up idle connections.
func (c *Client) Close() { c.http.CloseIdleConnections() }

var _ bunch.Transport = (*Client)(nil)
